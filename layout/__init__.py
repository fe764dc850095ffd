"""From a drawing to a classified graph of ducts and fittings."""

from . import allowed, sections, units
from .audit import Audit, audit, ranked
from .basis import Basis
from .boxes import Boxes, boxes_of, overlap_depth
from .clearance import (
    Clearances,
    clearances,
    duct_clearances,
    piece_ducts,
    side_clearances,
)
from .constructions import (
    ELBOW_CONSTRUCTIONS,
    ELBOW_PIECES,
    PIECES_TAKEN,
    SPLITTERS_TAKEN,
    TAKEOFF_ENTRIES,
    ElbowConstruction,
    TakeoffEntry,
)
from .draft import draft_schedule
from .drawing import Attributes, Drawing, Run, drawing_from_runs
from .faults import (
    BadInput,
    Notice,
    Severity,
    and_more,
    error,
    listed,
    note,
    refusal,
    some,
    warning,
    writing,
)
from .fit import (
    bend_places,
    branches_beyond,
    end_taps,
    ends_within_mains,
    fit_notices,
    room_faults,
)
from .fittings import Bends, Ducts, Legs, Source, Terminals, Transitions
from .frames import level_frame
from .free_lengths import (
    Straights,
    between_pieces,
    between_walls,
    piece_at,
    straights,
)
from .gltf_file import files_beside
from .graph import (
    DuctGraph,
    build,
    directed,
    network,
    node_kinds,
    remade,
    run_sections,
)
from .islands import islands
from .legs import legs_among
from .memory import keep_freed_memory
from .mend import mended
from .names import bare_name, section_in_name, toml_key
from .near_misses import near_misses
from .nearest import folded, nearest
from .obstacles import Obstacle, read_obstacles, structure_in
from .offsets import kink_words
from .paths import check_file, found_at, real_path
from .pieces import sides_before
from .places import coordinates, place_unit, place_words
from .quantity_words import (
    airflow_words,
    angle_words,
    counted,
    density_words,
    difference_words,
    heat_capacity_words,
    heat_words,
    length_words,
    mass_words,
    power_words,
    pressure_words,
    rate_words,
    section_words,
    short_length,
    size_words,
    temperature_words,
    transmission_words,
    velocity_words,
    words_apart,
)
from .read import read
from .read_schedule import find_schedule, read_schedule, read_so_far
from .recurrences import is_first, sum_from_root, sum_of_subtree
from .resized import overruling_notices, with_sections
from .run_names import with_drawn_names
from .run_words import flexible_runs, lacks_material, made_of, with_run_words
from .schedule import (
    FLEXIBLE,
    AirSpec,
    ChecksSpec,
    ComponentSpec,
    ElbowRule,
    FanSpec,
    RoomsSpec,
    RunLimits,
    RunWords,
    Schedule,
    SourceSpec,
    TerminalSpec,
    TransitionRule,
)
from .sections import (
    BoolArray,
    FloatArray,
    IntArray,
    Section,
    Shape,
    flat_oval,
    rectangular,
    round_section,
)
from .snap import TOLERANCE
from .solids import Solids, Tubes, solids
from .toml_tables import load_toml
from .topology import Topology, join, loops
from .transition_rules import changed_mains, transition_lengths
from .tree import heads
from .write import check_ending, write
from .write_gltf import write_gltf

keep_freed_memory()

__all__ = [
    "ELBOW_CONSTRUCTIONS",
    "ELBOW_PIECES",
    "FLEXIBLE",
    "PIECES_TAKEN",
    "SPLITTERS_TAKEN",
    "TAKEOFF_ENTRIES",
    "TOLERANCE",
    "AirSpec",
    "Attributes",
    "Audit",
    "BadInput",
    "Basis",
    "Bends",
    "BoolArray",
    "Boxes",
    "ChecksSpec",
    "Clearances",
    "ComponentSpec",
    "Drawing",
    "DuctGraph",
    "Ducts",
    "ElbowConstruction",
    "ElbowRule",
    "FanSpec",
    "FloatArray",
    "IntArray",
    "Legs",
    "Notice",
    "Obstacle",
    "RoomsSpec",
    "Run",
    "RunLimits",
    "RunWords",
    "Schedule",
    "Section",
    "Severity",
    "Shape",
    "Solids",
    "Source",
    "SourceSpec",
    "Straights",
    "TakeoffEntry",
    "TerminalSpec",
    "Terminals",
    "Topology",
    "TransitionRule",
    "Transitions",
    "Tubes",
    "airflow_words",
    "allowed",
    "and_more",
    "angle_words",
    "audit",
    "bare_name",
    "bend_places",
    "between_pieces",
    "between_walls",
    "boxes_of",
    "branches_beyond",
    "build",
    "changed_mains",
    "check_ending",
    "check_file",
    "clearances",
    "coordinates",
    "counted",
    "density_words",
    "difference_words",
    "directed",
    "draft_schedule",
    "drawing_from_runs",
    "duct_clearances",
    "end_taps",
    "ends_within_mains",
    "error",
    "files_beside",
    "find_schedule",
    "fit_notices",
    "flat_oval",
    "flexible_runs",
    "folded",
    "found_at",
    "heads",
    "heat_capacity_words",
    "heat_words",
    "is_first",
    "islands",
    "join",
    "kink_words",
    "lacks_material",
    "legs_among",
    "length_words",
    "level_frame",
    "listed",
    "load_toml",
    "loops",
    "made_of",
    "mass_words",
    "mended",
    "near_misses",
    "nearest",
    "network",
    "node_kinds",
    "note",
    "overlap_depth",
    "overruling_notices",
    "piece_at",
    "piece_ducts",
    "place_unit",
    "place_words",
    "power_words",
    "pressure_words",
    "ranked",
    "rate_words",
    "read",
    "read_obstacles",
    "read_schedule",
    "read_so_far",
    "real_path",
    "rectangular",
    "refusal",
    "remade",
    "room_faults",
    "round_section",
    "run_sections",
    "section_in_name",
    "section_words",
    "sections",
    "short_length",
    "side_clearances",
    "sides_before",
    "size_words",
    "solids",
    "some",
    "straights",
    "structure_in",
    "sum_from_root",
    "sum_of_subtree",
    "temperature_words",
    "toml_key",
    "transition_lengths",
    "transmission_words",
    "units",
    "velocity_words",
    "warning",
    "with_drawn_names",
    "with_run_words",
    "with_sections",
    "words_apart",
    "write",
    "write_gltf",
    "writing",
]
