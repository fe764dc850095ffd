"""What a reader of an analysis should look at."""

import numpy as np

from elbowroom.layout import (
    BoolArray,
    DuctGraph,
    ElbowConstruction,
    FloatArray,
    IntArray,
    Notice,
    Shape,
    TakeoffEntry,
    airflow_words,
    and_more,
    bend_places,
    end_taps,
    length_words,
    listed,
    note,
    pressure_words,
    sum_from_root,
    toml_key,
    velocity_words,
    warning,
)

from .coefficient import Note
from .elements import DuctState, Elements, Kind
from .fan_effect import effective_duct_length, inlet_elbow, outlet_elbow
from .flexible import bend_extra_length, bend_factor
from .friction import TURBULENT_FROM, Regime, regime
from .junctions import LAST_TAP
from .leg_losses import short_ducts, touching
from .losses import bend_place
from .sizes import FLATTEST
from .takeoff_entries import Taken, tabled_entries, taken_at

_BLAST_AREAS = (1.0, 0.4)  # blast area over outlet area: the ends of the table
_BENT = float(np.radians(90.5))  # how far flexible bends were tested, and rounding
_EVEN_INLET = 5.0  # diameters: where the table of elbows before a fan ends
_FASTEST = 50.0  # m/s: no comfort or process duct is meant to carry more
_FAST, _FASTER = 10.0, 2.5  # m/s, and times its main's, at which a branch is flagged
_CLOSE = 5.0  # hydraulic diameters within which an elbow and a junction are remarked on
_REGIMES = {
    int(Regime.LAMINAR): "laminar (Reynolds below 2000)",
    int(
        Regime.TRANSITION
    ): "in the transition from laminar (Reynolds 2000 to 4000), for which there is no "
    "agreed friction formula",
}
# From memory: f Re is 57 in a square duct and 96 in a slit, and 64 in a round one.
_AS_IF_ROUND = (
    ", reckoned with a round duct's law, 64/Re when laminar, on the hydraulic "
    "diameter: laminar, a square duct rubs a tenth less and a flat one up to half more"
)
# Every value between two rows of its table would be noise, and of kinks the drawing is
# told; the rest is said.
_REMARKABLE = {
    int(note): note.words[0]
    for note in Note
    if note not in (Note.NOTHING, Note.INTERPOLATED, Note.KINKS, Note.ELBOWED)
}


def flow_flags(
    graph: DuctGraph,
    state: DuctState,
    elements: Elements,
    dead: BoolArray | None,
) -> list[Notice]:
    """Flag odd flow, flat ducts, and coefficients from outside their tables.

    Of `dead` ducts, in which air stands still, it is said elsewhere.
    """
    ducts = graph.ducts
    flags = []
    is_slow = state.reynolds < TURBULENT_FROM
    slow = (is_slow if dead is None else is_slow & ~dead).nonzero()[0]
    codes = regime(state.reynolds[slow]) if len(slow) else slow
    for code, words in _REGIMES.items() if len(slow) else ():
        rows = slow[codes == code]
        if len(rows):
            others = (ducts.shape[rows] != int(Shape.ROUND)).any()
            flags.append(
                warning(
                    _places(graph, rows),
                    f"the flow is {words}" + _AS_IF_ROUND * bool(others),
                    "check the airflow and the size",
                )
            )
    flat = (ducts.shape != int(Shape.ROUND)) & (
        np.maximum(ducts.width, ducts.height)
        > FLATTEST * np.minimum(ducts.width, ducts.height) * (1 + 1e-9)
    )
    if flat.any():
        flags.append(
            warning(
                _places(graph, flat.nonzero()[0]),
                f"the section is flatter than {FLATTEST:g} to 1",
                "expect more weight, noise and uneven flow than for a squarer one "
                "(common practice, no published source)",
            )
        )
    beside, between = _near_junctions(graph)
    if len(between):
        flags.append(
            warning(
                _places(graph, between),
                "two junctions stand less than one diameter apart, and the tables know "
                "each of them alone: the second one meets air that the first has bent",
                "draw takeoffs that are made at one place at one vertex, as a cross; "
                "else leave more straight duct between them",
            )
        )
    flags.extend(_beside_junctions(graph, elements, beside))
    noted = int(np.bitwise_or.reduce(elements.notes))
    for bit, words in _REMARKABLE.items():
        if noted & bit:
            rows = (elements.notes & bit).nonzero()[0]
            runs = graph.ducts.run[elements.duct[rows[:6]]].tolist()
            shown = ", ".join(
                f"{elements.identifier(row)} in '{graph.drawing.names[run]}'"
                for row, run in zip(rows[:6].tolist(), runs, strict=True)
            )
            flags.append(warning(f"{shown}{and_more(len(rows) - 6)}", words))
    return flags


def _beside_junctions(
    graph: DuctGraph, elements: Elements, beside: IntArray
) -> list[Notice]:
    """Say it of elbows and junctions near each other, of which there is no print.

    `beside` are the ducts between them.
    """
    if len(beside) == 0:
        return []
    printed = elements.duct[(elements.notes & int(Note.ELBOWED)) > 0]
    rest = beside[~np.isin(beside, printed)]
    if len(rest) == 0:
        return []
    return [
        note(
            _places(graph, rest),
            "an elbow and a junction stand within 5 diameters of each other and "
            "feel each other; no figure is published for these, so their plain sum "
            "counts",
            "leave more straight duct between them where there is room",
        )
    ]


def _near_junctions(graph: DuctGraph) -> tuple[IntArray, IntArray]:
    """Ducts with a junction at one end and, close to it, what feels it at the other.

    First those with an elbow there, then those with another junction; of a stretch in
    several runs the first.
    """
    ducts, legs, bent = graph.ducts, graph.legs, graph.bends.duct
    divides, turns = np.zeros((2, len(ducts.parent)), dtype=bool)
    divides[legs.duct] = turns[bent] = True
    before = ducts.stretch_of(graph.bend_before)  # an elbow at their far end
    common = ducts.stretch_of(legs.common)  # a junction at their far end
    beside = np.concatenate([before[divides[before]], common[turns[common]]])
    return short_ducts(ducts, beside, _CLOSE), touching(ducts, legs)


def takeoff_flags(graph: DuctGraph) -> list[Notice]:
    """Say where a declared entry has no table, and what was taken in its place."""
    ducts, flags = graph.ducts, []
    for legs, joining in (
        (graph.legs, graph.is_return),
        (graph.meetings, not graph.is_return),
    ):
        found = taken_at(ducts, legs, joining)
        rows = (found != int(Taken.ITSELF)).nonzero()[0]
        if len(rows) == 0:
            continue
        duct, common = legs.duct[rows], legs.common[rows]
        tabled = tabled_entries(
            ducts.shape[common],
            ducts.shape[duct],
            legs.angle[rows],
            legs.is_symmetrical[rows],
            joining=joining,
        )
        kinds = np.column_stack([legs.entry[rows], found[rows], tabled])
        for kind in np.unique(kinds, axis=0):
            declared, code, *has = kind.tolist()
            flags.append(
                warning(
                    _places(graph, duct[(kinds == kind).all(axis=1)]),
                    "no table of the declared entry, "
                    f"'{TakeoffEntry(declared).words}', fits the shape and the angle "
                    f"of the branch: {Taken(code).words} was taken in its place",
                    f"declare one that has a table there ({_entries(has)}) under "
                    "[[takeoffs.exception]], or count what this one loses beyond "
                    "that in a [[component]]",
                )
            )
    return flags


def _entries(has: list[int]) -> str:
    """Words of the entries whose place in the list is not 0."""
    words = [f'"{entry.words}"' for entry in TakeoffEntry if has[entry]]
    return " or ".join([", ".join(words[:-1]), words[-1]] if words[1:] else words)


def flexible_bend_flags(
    graph: DuctGraph,
    state: DuctState,
    elements: Elements,
    compression: FloatArray,
    critical: int,
) -> list[Notice]:
    """Say that bends of flexible duct count as elbows, and what is published of them.

    On the critical path and on the one where they lose most, as no air meets them all.
    `compression` is of the ducts, a share, shape (d,), NaN where they are rigid;
    `critical` the terminal.
    """
    bends = graph.bends
    rows = (~np.isnan(compression[bends.duct])).nonzero()[0]
    if len(rows) == 0:
        return []
    is_round = graph.ducts.shape[graph.bend_duct[rows]] == int(Shape.ROUND)
    turn = bends.angle[rows]
    ratio = (bends.radius[rows] / bends.in_plane[rows]).round(2)  # an arc is drawn so
    _, notes = bend_factor(np.minimum(turn, np.pi / 2), ratio)
    known = is_round & ((notes & int(Note.EXTENDED)) == 0) & (turn < _BENT)
    pressed = bool((compression[bends.duct[rows[known]]] > 0.0).any())
    by_factor = "by the factor published for its friction in a bend"
    if pressed:
        by_factor += ", known fully stretched alone and taken here as it is compressed"
    return [
        _flexible_bends(graph, state, elements, mine, words, critical)
        for mine, words in ((rows[known], by_factor), (rows[~known], ""))
        if len(mine)
    ]


def _flexible_bends(
    graph: DuctGraph,
    state: DuctState,
    elements: Elements,
    rows: IntArray,
    by_factor: str,
    critical: int,
) -> Notice:
    """Say it of some bends, b of them; `by_factor` is empty where none is published."""
    bends, duct = graph.bends, graph.bends.duct
    loss = elements.loss[elements.of(Kind.BEND, len(duct))]
    longer = np.zeros(len(rows))
    if by_factor:
        turn = np.minimum(bends.angle[rows], np.pi / 2)
        longer, _ = bend_extra_length(turn, bends.radius[rows], bends.in_plane[rows])
    own = np.zeros((2, len(state.gradient)))
    own[:, duct[rows]] = loss[rows], longer * state.gradient[duct[rows]]
    counted, published = sum_from_root(graph.ducts.parent, own).take(
        graph.terminals.duct, axis=1
    )
    most = int(np.maximum(counted, published).argmax())
    told = [critical] if counted[critical] > 0.0 else []
    where = ["the critical path"] * len(told)
    if not told or max(counted[most], published[most]) > 1.01 * max(
        counted[critical], published[critical]
    ):
        told.append(most)
        where.append(f"that of '{graph.terminals.name[most]}', where it is most")
    if len(told) == 1 and told[0] != critical:
        where = [
            f"the path of '{graph.terminals.name[most]}', none on the critical one"
        ]
    as_elbows = " and ".join(
        f"{pressure_words(float(counted[one]))} on {place}"
        for one, place in zip(told, where, strict=True)
    )
    also = (
        "no factor is published for its friction in such bends, but of round duct with "
        "r/D 1 to 1.5 that turns up to 90 degrees alone"
    )
    if by_factor:
        lost = " and ".join(pressure_words(float(published[one])) for one in told)
        also = f"{by_factor}, they lose {lost}{' there' * (told != [critical])}"
    say = warning if (published[told] > counted[told]).any() else note
    return say(
        _places(graph, duct[rows]),
        f"the bends of flexible duct are counted as elbows, {as_elbows}; {also}",
        "hang it so that it turns in wide bends without a kink, or draw a rigid elbow "
        "as a run of its own",
    )


def end_tap_flags(
    graph: DuctGraph, state: DuctState, elements: Elements
) -> list[Notice]:
    """Say where a tap at a closed end may be drawn like an elbow with a transition.

    In a return no value is published for such a tap, so it is not asked.
    """
    if graph.is_return:
        return []
    ducts, bends = graph.ducts, graph.bends
    rows = end_taps(graph)
    if len(rows) == 0:
        return []
    duct = bends.duct[rows]
    kind = elements.kind
    fitting = ((kind == int(Kind.BEND)) | (kind == int(Kind.TRANSITION))).nonzero()[0]
    spent = np.bincount(elements.duct[fitting], elements.loss[fitting], len(ducts.run))
    tap = LAST_TAP * state.velocity_pressure[duct]
    most = int(np.argmax(tap - spent[duct]))
    name = graph.drawing.names[int(ducts.run[duct[most]])]
    where = f"in run '{name}', where it matters most, it" if len(rows) > 1 else "it"
    counted, other = float(spent[duct[most]]), float(tap[most])
    return [
        warning(
            bend_places(graph, rows),
            "the drawing does not tell an elbow with a transition from a tap at the "
            "closed end of a duct: the elbow is counted, in the section on the side of "
            f"the source; {where} loses {pressure_words(counted)}, and "
            f"the tap would lose {pressure_words(other)}",
            "say which it is: under [[takeoffs.exception]] write "
            f"run = {toml_key(name)} and closed_end = true for the tap, or false",
            place=graph.nodes[int(ducts.start[duct[most]])],
        )
    ]


def _places(graph: DuctGraph, rows: IntArray) -> str:
    runs, at = np.unique(graph.ducts.run[rows], return_index=True)
    names = [graph.drawing.names[run] for run in runs[at.argsort()].tolist()]
    return f"run{'s' * (len(runs) > 1)} {listed(names, 6)}"


def too_fast(where: str, velocity: float) -> list[Notice]:
    """Say of a velocity, m/s, that no duct carries it, if so."""
    if velocity <= _FASTEST:
        return []
    return [
        warning(
            where,
            f"the velocity is {velocity_words(velocity)}, more than any duct carries",
            "check the units of the airflows and of the sizes",
        )
    ]


def component_flags(graph: DuctGraph, flow: FloatArray) -> list[Notice]:
    """Say where a component was put whose run carries more than one airflow.

    Parameters
    ----------
    graph
        The classified graph.
    flow
        Airflow in each duct, m³/s, shape (d,).
    """
    found = []
    specs = graph.schedule.components
    for spec, duct in zip(specs, graph.components.duct.tolist(), strict=True):
        mine = flow[graph.ducts.run == graph.ducts.run[duct]]
        if spec.at is None and np.ptp(mine) > 1e-6 * float(mine.max()):
            found.append(
                warning(
                    f"{graph.schedule.file}, [[component]] '{spec.name}'",
                    f"run '{spec.run}' has branches, and it was put where that begins, "
                    f"with {airflow_words(float(flow[duct]))}",
                    "write where it stands, "
                    'at = ["1 m", "2 m", "3 m"]; the nearest piece of the run counts',
                    effect="its loss hangs on the airflow there",
                )
            )
    return found


def fast_flags(graph: DuctGraph, velocity: FloatArray) -> list[Notice]:
    """Flag air that no duct carries, and branches far faster than their mains.

    A slip of the section or of the airflow: takeoffs are made as slow as their main or
    slower. The limits are own choice, no published source.

    Parameters
    ----------
    graph
        The classified graph.
    velocity
        In each duct, m/s, shape (d,).
    """
    legs, run = graph.legs, graph.ducts.run
    beyond = (velocity > _FASTEST).nonzero()[0]
    flags = []
    if len(beyond):
        where, most = _places(graph, beyond), float(velocity[beyond].max())
        flags = too_fast(where, most)
    own, main = velocity[legs.duct], velocity[legs.common]
    fast = legs.is_branch & (own > _FASTER * main)
    fast &= (own > _FAST) & (own <= _FASTEST)
    return flags + [
        warning(
            f"{graph.drawing.place(int(run[duct]))}, at "
            f"{graph.topology.place(int(graph.ducts.start[duct]))}",
            f"the air is at {velocity_words(float(velocity[duct]))} in this "
            f"branch, {velocity[duct] / velocity[common]:.1f} times as "
            "fast as in its main",
            "check its section and the airflow of its terminals (own choice of limit, "
            "no published source)",
            effect="loss and noise rise with the square of the velocity and more",
            place=graph.topology.nodes[int(graph.ducts.start[duct])],
        )
        for duct, common in zip(
            legs.duct[fast].tolist(), legs.common[fast].tolist(), strict=True
        )
    ]


def dust_flags(graph: DuctGraph) -> list[Notice]:
    """Say of ducts that may carry dust that no least velocity is looked at."""
    if not graph.schedule.may_carry_dust:
        return []
    return [
        warning(
            graph.drawing.file,
            "ducts that carry dust, fume or grease need a least velocity (the "
            "transport velocity), below which it settles in them; none is set or "
            "checked here",
            "keep to that which the local code and licensed practice ask for, before "
            "any larger section is taken",
        )
    ]


def gaining_flags(graph: DuctGraph, path_loss: FloatArray) -> list[Notice]:
    """Say of a path on which air gains more than it loses that this is as printed."""
    rows = (path_loss < 0.0).nonzero()[0].tolist()
    return [
        warning(
            f"terminal '{graph.terminals.name[row]}'",
            f"its path gains {pressure_words(-float(path_loss[row]))}: by the tables "
            "of junctions the faster air of the main draws its air along",
            "take a smaller branch or a larger main there, or set its damper",
            effect="a loss and an effective length below zero",
            place=graph.topology.nodes[graph.ducts.finish[graph.terminals.duct[row]]],
        )
        for row in rows
    ]


def fan_flags(graph: DuctGraph, state: DuctState) -> list[Notice]:
    """Say what an elbow close to the fan may cost beyond its own loss.

    It is not counted: it hangs on the fan's make, which no drawing shows.
    """
    ducts = graph.ducts
    first = ducts.stretch_of(graph.bend_before)
    beside = (ducts.parent[first] < 0).nonzero()[0]
    if graph.source.kind != "fan" or len(beside) == 0:
        return []
    say = _inlet_elbow_flags if graph.is_return else _outlet_elbow_flags
    found = []
    for row in beside.tolist():  # one for each duct that begins at the fan
        root = int(first[row])
        found += say(graph, state, row, root, float(ducts.reach[root]))
    return found


def _outlet_elbow_flags(
    graph: DuctGraph, state: DuctState, row: int, root: int, straight: float
) -> list[Notice]:
    """Say what an elbow close behind the fan may cost beyond its own loss."""
    needed = float(effective_duct_length(state.velocity[root], state.area[root]))
    if straight >= needed:
        return []
    share = straight / needed
    low, high = sorted(
        float(outlet_elbow(blast, share).value[0])
        * float(state.velocity_pressure[root])
        for blast in _BLAST_AREAS
    )
    return [
        warning(
            bend_place(graph, row),
            f"it stands {length_words(straight)} behind the fan, whose flow "
            f"is even after {length_words(needed)}: from {pressure_words(low)} to "
            f"{pressure_words(high)} may be lost "
            "beyond what is counted, by the fan's make (AMCA Publication 201, from "
            "memory)",
            "give the fan a straight outlet duct, or ask its maker",
        )
    ]


def _inlet_elbow_flags(
    graph: DuctGraph, state: DuctState, row: int, root: int, straight: float
) -> list[Notice]:
    """Say what an elbow close before the fan may cost beyond its own loss."""
    bends = graph.bends
    diameter = float(np.sqrt(4.0 * state.area[root] / np.pi))
    if straight >= _EVEN_INLET * diameter:
        return []
    kind, ratio = "square", float(bends.radius[row] / bends.in_plane[row])
    if graph.ducts.shape[root] == Shape.ROUND:
        kind = "round" if ratio > 0.0 else "round-mitred"
    elif ElbowConstruction(bends.construction[row]).is_vaned:
        kind = "square-short-vanes"
    elbow = inlet_elbow(kind, straight / diameter, ratio if ratio > 0.0 else 0.5)
    loss = float(elbow.value[0] * state.velocity_pressure[root])
    return [
        warning(
            bend_place(graph, row),
            f"it stands {length_words(straight)} before the fan, whose inlet takes "
            f"even air after {length_words(_EVEN_INLET * diameter)}: up to "
            f"{pressure_words(loss)} may be lost beyond what is counted (ASHRAE, fan "
            "inlet elbows, from memory)",
            "give the fan a straight inlet duct, or ask its maker",
        )
    ]
