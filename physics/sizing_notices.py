"""What to look at in the sizes chosen for a layout."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from elbowroom.layout import (
    BadInput,
    FloatArray,
    Notice,
    RunLimits,
    Shape,
    TakeoffEntry,
    and_more,
    branches_beyond,
    flexible_runs,
    length_words,
    listed,
    note,
    pressure_words,
    rate_words,
    refusal,
    room_faults,
    section_words,
    temperature_words,
    toml_key,
    velocity_words,
    warning,
    words_apart,
)

from .analysis import Analysis
from .check import Check, CheckDimension
from .flags import dust_flags
from .run_sizes import (
    BEFORE,
    BEFORE_AS_DRAWN,
    BEFORE_FIRST,
    DRAWN,
    HEIGHT,
    KEPT,
    LARGEST,
    MAY_GROW,
    NO_ROOM,
    NO_SIZE,
    UNMET,
    UNPAID,
    VELOCITY,
    WIDTH,
    Aim,
    Choice,
    serves_within,
    unpaid_by_regain,
    what_helps,
)
from .site_air import fan_air_notices
from .sizes import FLATTEST, diameters, sides
from .system import WINDOW, outside_window

_Ways = tuple[tuple[str, ...], ...]  # as `what_helps` gives them
_Helps = Mapping[str, _Ways]
_MORE = HEIGHT, WIDTH, VELOCITY
# How the values of checks that sizes change are said, with so many more digits.
_VALUES: dict[CheckDimension, Callable[[float, int], str]] = {
    "velocity": velocity_words,
    "pressure": pressure_words,
    "share": lambda share, more: f"{100 * share:.{2 + more}g} %",
    "ratio": lambda ratio, more: f"{ratio:.{3 + more}g}",
    "temperature": lambda kelvin, more: temperature_words(kelvin),
}
_SHARE = "share the airflow among several ducts"
# Where ducts may carry dust, as `dust_flags` says beside it.
_ASK = "ask the local code before a larger section is taken"


def sizing_notices(
    after: Analysis,
    choices: Sequence[Choice],
    aim: Aim,
    rate: float | None,
    before: Analysis | None = None,
    lower: float | None = None,
    kept: Sequence[str] = (),
) -> list[Notice]:
    """Say what the sizes of a layout do not keep, and whether the fan carries it.

    Parameters
    ----------
    after
        The layout with its sizes.
    choices
        Those of its runs.
    aim
        What it is sized for.
    rate
        Friction rate that the sizes keep, Pa/m; None by another method.
    before
        The layout as drawn, whose own faults are not said; None where it had no sizes.
    lower
        Friction rate below the one asked for at which the fan carries the layout, Pa/m;
        None where it does already, or at none.
    kept
        Runs that are larger as drawn, with which it carries the layout.

    Raises
    ------
    BadInput
        If a run has no size that it could keep, or the fan leaves nothing for straight
        duct and equal friction is sought without a rate.
    """
    aimed = replace(aim, rate=rate)
    helps = what_helps(after, choices, aimed)
    notices = _unsized(after, choices, aimed, helps) + _airless(after, choices)
    notices += _left_round(after, choices, aim)
    notices += _beyond_their_mains(after, choices, aimed)
    notices += _unbuildable(after, before)
    notices += _unkept(after, choices, aim, before, helps)
    notices += fan_air_notices(after.graph.schedule.fan, after.conditions.air)
    notices += _too_small(after, choices, aimed, helps, aim.rate is not None)
    notices += dust_flags(after.graph)
    notices += _unpaid(after, choices, aim) + _coefficients_kept(after, before)
    return notices + _of_the_fan(after, choices, aim, rate, lower, kept)


def resized_terminals(before: Analysis, after: Analysis) -> list[str]:
    """Terminals with a declared coefficient, in ducts of another area than before."""
    ends = after.graph.terminals
    rows = np.fromiter(ends.coefficient, dtype=np.int64)
    duct = ends.duct[rows]  # whose airflow is the same
    velocity = before.state.velocity[duct], after.state.velocity[duct]
    return [ends.name[row] for row in rows[~np.isclose(*velocity)].tolist()]


def _coefficients_kept(after: Analysis, before: Analysis | None) -> list[Notice]:
    """Say which coefficients of terminals stand on a duct of another size."""
    held = resized_terminals(before, after) if before is not None else []
    if not held:
        return []
    return [
        warning(
            after.graph.drawing.file,
            f"the coefficient of {listed(held)} is kept on a duct of another size, "
            "as that of a hood or nozzle as wide as its duct is",
            'declare loss = "..." at the terminal where it is a grille of its own size',
        )
    ]


def _beyond_their_mains(
    after: Analysis, choices: Sequence[Choice], aim: Aim
) -> list[Notice]:
    """Say which branches do not fit in the side of the main that they leave."""
    graph = after.graph
    ducts, drawing = graph.ducts, graph.drawing
    beyond = branches_beyond(ducts, graph.legs)
    if not beyond:
        return []
    common = dict(
        zip(graph.legs.duct.tolist(), graph.legs.common.tolist(), strict=True)
    )
    names: dict[str, bool] = {}  # whether a smaller size serves
    mains = []
    for duct, more in beyond.items():
        run, main = int(ducts.run[duct]), int(ducts.run[common[duct]])
        side = float(max(ducts.width[duct], ducts.height[duct])) - more
        serves = serves_within(after, choices, aim, run, side)
        name = drawing.names[run]
        names[name] = names.get(name, True) and serves
        mains.append(drawing.names[main])
    ways = []
    if some := sorted(name for name, serves in names.items() if serves):
        ways.append(f"give {listed(some)} a max_width and max_height under [limits]")
    other = [run for run in names if not names[run]]
    if (
        some := sorted(c.run for c in choices if c.run in other and _is_round(c))
    ) and not graph.schedule.may_carry_dust:
        ways.append(
            f"give {listed(some)} a section with sides under [sections], as no "
            "smaller round one serves"
        )
    if not graph.schedule.may_carry_dust:
        ways.append(
            f"write a larger section of {listed(sorted(set(mains)))} under "
            "[sections], with as_drawn = true under [limits]"
        )
    plural = len(names) > 1
    return [
        warning(
            drawing.file,
            f"with these sizes {listed(sorted(names))} "
            f"{'are' if plural else 'is'} larger than the side of the duct that "
            f"{'they leave' if plural else 'it leaves'}, by up to "
            f"{length_words(max(beyond.values()))}",
            ", or ".join(ways) or _ASK,
            effect="such a takeoff needs a piece that changes shape, which is counted "
            "nowhere",
        )
    ]


def _is_round(choice: Choice) -> bool:
    return choice.chosen.shape == Shape.ROUND


def _unbuildable(after: Analysis, before: Analysis | None) -> list[Notice]:
    """Say which bends and transitions have no room, or too tight a radius, by now."""
    places = {said.where for said in room_faults(before.graph)} if before else set()
    return [
        replace(said, what=f"with these sizes {said.what}")
        for said in room_faults(after.graph)
        if said.where not in places
    ]


def _unkept(
    after: Analysis,
    choices: Sequence[Choice],
    aim: Aim,
    before: Analysis | None,
    helps: _Helps,
) -> list[Notice]:
    """Say which checks the sizes do not keep: of velocity and of sides each one.

    Of others, which rest on more than the sizes, those that were kept before.
    """
    failed = {one.rule for one in before.checks if not one.is_kept} if before else {}
    notices = []
    for check in after.checks:
        of_sizes = check.dimension in ("velocity", "ratio")
        words = _VALUES.get(check.dimension)
        if check.is_kept or words is None or check.limit is None:
            continue
        if not of_sizes and check.rule in failed:
            continue
        value, limit = words_apart(words, check.value, check.limit)
        others = [name for name in check.failing if name != check.at]
        also = f", and {listed(others)}" if others else ""
        what = f"with these sizes a check is not kept, {check.rule}: {value}, limit "
        what += f"{limit}, '{check.at}'{also}"
        remedy = check.remedy
        dusty = after.graph.schedule.may_carry_dust  # where the remedy says so
        if check.dimension == "velocity" and not dusty:
            remedy = _to_slow_down(check, choices, aim, helps)
        notices.append(warning(after.graph.drawing.file, what, remedy))
    return notices


def _to_slow_down(
    check: Check, choices: Sequence[Choice], aim: Aim, helps: _Helps
) -> str:
    """What gives the runs that are too fast a larger size, by what held it down."""
    by_name = {choice.run: choice for choice in choices}
    runs: dict[str, list[str]] = {}  # by what is their remedy
    for name in check.failing:
        choice, remedy = by_name.get(name), check.remedy
        if choice is not None and choice.limit == KEPT:
            remedy = f"delete as_drawn under [limits.{toml_key(name)}]"
        elif choice is not None and choice.limit in UNMET:
            ways = [way for way in helps.get(name, ()) if VELOCITY not in way]
            remedy = _to_allow(tuple(ways)) or check.remedy
        elif choice is not None and (aim.main is not None or aim.branch is not None):
            remedy = "give lower velocities to size with"
        runs.setdefault(remedy, []).append(name)
    if len(runs) == 1:
        return next(iter(runs))
    return "; ".join(f"for {listed(names)}, {how}" for how, names in runs.items())


def _of_the_fan(
    after: Analysis,
    choices: Sequence[Choice],
    aim: Aim,
    sized: float | None,
    lower: float | None,
    kept: Sequence[str],
) -> list[Notice]:
    """Say whether the fan carries the layout, and whether its rate is a usual one.

    Where limits of size bind, they are what to relax before fan and fittings. `sized`
    is the rate that was sized to, Pa/m; `lower` and `kept` as for `sizing_notices`.
    """
    system, file = after.system, after.graph.drawing.file
    dusty = after.graph.schedule.may_carry_dust
    bound, first = _binding(after, choices, aim)
    if kept and not dusty:
        of_runs = " and ".join(f"[limits.{toml_key(run)}]" for run in kept)
        first = ", or ".join(
            [f"write as_drawn = true under {of_runs}", *([first] if first else [])]
        )
    notices = []
    if system.is_short:
        assert system.spare is not None
        lacking = pressure_words(-system.spare)
        ways = [] if lower is None or dusty else [f'size with --rate "{lower:g} Pa/m"']
        ways += [first] if first else []
        slower = aim.method != "equal friction" and not bound and not dusty
        ways.append(f"take a stronger fan{' or a lower velocity' * slower}")
        ways += [] if bound or dusty else ["allow more height"]
        notices.append(
            warning(
                file,
                f"the fan does not carry the layout with these sizes{bound}: {lacking} "
                "are lacking on the critical path",
                ", or ".join(ways),
            )
        )
    rate = system.friction_rate_available
    sought = sized if aim.rate is None else None
    if sought is not None and rate is not None and rate <= 0.0:
        raise _nothing_left(after, bound, first)
    # With nothing left the fan does not carry the layout, as is said already.
    if rate is None or rate <= 0.0 or dusty:
        return notices
    mend = "mend the path or the equipment first, and not the sizes alone"
    if sought is not None and sought < WINDOW[0]:
        # It may leave more on average where limits hold runs above it.
        steep = any(choice.gradient > sought for choice in choices)
        carries = steep and rate >= WINDOW[0] and not system.is_short
        which = (
            "at which it does" if carries else "that it leaves with the sizes it gives"
        )
        what = (
            f"the fan {'carries the layout at' if carries else 'leaves'} no rate "
            f"within the window of {rate_words(WINDOW[0])} to "
            f"{rate_words(WINDOW[1])} that practice works in (common practice, no "
            f"published source): sized at {rate_words(sought)}, the highest " + which
        )
        return [*notices, warning(file, what, first or mend)]
    if system.is_short and rate > WINDOW[1]:  # on average, as limits hold runs above
        return notices
    above = "watch noise and throttling"
    if sought is not None and sought > WINDOW[1]:
        above = f'{above}, or size with --rate "{WINDOW[1]:.2f} Pa/m"'
    return notices + outside_window(
        file,
        rate,
        "with these sizes the fan leaves",
        below=f"{first}: with larger ducts the fan leaves more" if bound else mend,
        above=f"the fan has pressure to spare: {above}",
    )


def _nothing_left(after: Analysis, bound: str, first: str) -> BadInput:
    """Refuse to size for a rate where none is left with any size, and say why."""
    system = after.system
    assert system.available is not None  # no rate is left without it
    spend, over = "declared losses spend", -system.available
    mend = "take a stronger fan, or losses that are lower"
    how = ""
    if system.available > 0.0:
        spend = "fittings and declared losses spend"
        over = system.fitting_loss - system.available
        how = f"with these sizes{bound}, " if bound else "also with the largest sizes, "
        mend = "give better fittings or a stronger fan"
        if first:  # and no rate: at none are the sizes larger
            mend = f"{first}, or {mend}"
    more = f", and {pressure_words(over)} more" if over > 0.0 else ""
    return refusal(
        after.graph.drawing.file,
        f"{how}the fan leaves nothing for straight duct: {spend} it all{more}",
        mend,
    )


def _binding(after: Analysis, choices: Sequence[Choice], aim: Aim) -> tuple[str, str]:
    """Which limits hold sizes of the critical path down, and what to allow.

    Nothing where none does, and nothing to allow to ducts that may carry dust.
    """
    graph = after.graph
    way = graph.ducts.run[after.elements.duct[after.path(after.critical)]]
    critical = {graph.drawing.names[run] for run in way.tolist()}
    held, runs = dict[str, None](), dict[str, list[str]]()
    for choice in choices:
        sides_of, words = _held(after, choice, aim)
        if choice.run in critical and sides_of:
            held |= dict.fromkeys(sides_of)
            runs.setdefault(words, []).append(choice.run)
    if not held:
        return "", ""
    each = [
        f"{words} hold{'s' * (' and ' not in words)} down {listed(names)}"
        for words, names in runs.items()
    ]
    words = f", where {', and '.join(each[:3])}{and_more(len(each) - 3)}"
    if graph.schedule.may_carry_dust:
        return words, ""
    return words, f"allow more {' and '.join(held)} there"


def _held(after: Analysis, choice: Choice, aim: Aim) -> tuple[dict[str, float], str]:
    """Limits of the sides that hold a run down, m, and how to say them."""
    if choice.limit == DRAWN:
        return {"size": choice.chosen.width}, "the size drawn, as dust may settle,"
    if choice.limit not in (LARGEST, NO_SIZE):
        return {}, ""
    own = after.graph.schedule.limits.get(choice.run, RunLimits())
    chosen, drawn = choice.chosen, choice.drawn
    highest = aim.highest if own.highest is None else own.highest
    widest = aim.widest if own.widest is None else own.widest
    is_round, is_drawn = chosen.shape == Shape.ROUND, False
    if highest is None and not is_round and drawn and drawn.shape != Shape.ROUND:
        highest, is_drawn = drawn.height, True
    steps = diameters(aim.series) if is_round else sides(np.inf, aim.series)

    def larger(side: float) -> FloatArray:
        return steps[steps > side * (1 + 1e-9)][:1]

    held = {}
    for name, side, limit in (
        ("height", chosen.height, highest),
        ("width", chosen.width, widest),
    ):
        is_met = choice.limit == NO_SIZE or (larger(side) > (limit or np.inf)).any()
        if limit is not None and is_met:
            held[name] = limit
    words = [f"a {side} of at most {length_words(m)}" for side, m in held.items()]
    short, long = sorted((chosen.width, chosen.height))
    if not is_round and len(held) == 1 and (larger(long) > FLATTEST * short).any():
        flat = f"{FLATTEST:g} to 1"
        if is_drawn and "height" in held:
            words = [f"{flat} at the drawn height of {length_words(held['height'])}"]
        else:
            words.append(flat)
    return held, " and ".join(words)


def _unsized(
    after: Analysis, choices: Sequence[Choice], aim: Aim, helps: _Helps
) -> list[Notice]:
    """Say which runs kept their size because nothing allows one that they need.

    Raises
    ------
    BadInput
        If one of them has no size that it could keep.
    """
    file, notices = after.graph.drawing.file, []
    for runs, ways in _alike(choices, (NO_SIZE, NO_ROOM), helps):
        shown, first = listed([choice.run for choice in runs]), runs[0]
        fast = any(VELOCITY in way for way in ways)
        held = _in_the_way(after, runs, aim, ways)
        if first.limit == NO_ROOM:
            need = f"need{'s' * (len(runs) == 1)} more than the duct before has"
            kept = "" if aim.rate is None else rate_words(aim.rate)
            kept = "the largest velocity" if fast else kept
            what = f"{shown} {need}{f' to keep {kept}' if kept else ''}"
        else:
            what = f"the limits allow no size for {shown}{held}"
        bare = next((choice.run for choice in runs if choice.drawn is None), None)
        dusty = after.graph.schedule.may_carry_dust
        remedy = _ASK if dusty else _to_allow(ways) or _SHARE
        if bare is not None:
            raise refusal(
                file,
                f"{what}; run '{bare}', which has none drawn, cannot be left as it is",
                f"{remedy}, or give it a section",
            )
        notices.append(warning(file, f"{what}: left as drawn", remedy))
    return notices


def _alike(
    choices: Sequence[Choice], limits: Sequence[str], helps: _Helps
) -> list[tuple[list[Choice], _Ways]]:
    """Choices bound by one of some limits, those together that the same helps."""
    found: dict[tuple[str, _Ways], list[Choice]] = {}
    for choice in choices:
        if choice.limit in limits:
            key = choice.limit, helps.get(choice.run, ())
            found.setdefault(key, []).append(choice)
    return [(runs, ways) for (_, ways), runs in found.items()]


def _in_the_way(after: Analysis, runs: Sequence[Choice], aim: Aim, ways: _Ways) -> str:
    """Which limits allow runs no size, in words behind it."""
    eased = {one for way in ways for one in way}
    limits = [_held(after, choice, aim)[0] for choice in runs]
    words = []
    for side in (HEIGHT, WIDTH):
        of_each = {length_words(held[side]) for held in limits if side in held}
        if side in eased and of_each:
            one = f"a {side} of at most {min(of_each)}"
            words.append(one if len(of_each) == 1 else f"a {side} of its own each")
    if words and any(choice.chosen.shape != Shape.ROUND for choice in runs):
        words.append(f"{FLATTEST:g} to 1")
    words += ["the largest velocity"] * (VELOCITY in eased)
    words += ["the size of the duct before"] * (MAY_GROW in eased)
    return f", within {' and '.join(words)}" if words else ""


def _to_allow(ways: _Ways) -> str:
    """What to do to let runs have a size that they need; empty where nothing helps."""
    said, single = [], [way[0] for way in ways if way[0] in _MORE and len(way) == 1]
    for way in ways:
        if way[0] == BEFORE_AS_DRAWN:
            said.append(f"write as_drawn = true under [limits.{toml_key(way[1])}]")
        elif way[0] == BEFORE_FIRST:
            said.append(f"mend '{way[1]}' first")
        elif way[0] not in single:
            more = " and ".join(one for one in way if one in _MORE)
            grow = ["size with --may-grow"] * (MAY_GROW in way)
            said.append(" and ".join(grow + [f"allow more {more} there"] * bool(more)))
    if single:
        *most, last = single
        more = f"{', '.join(most)} or {last}" if most else last
        said.append(f"allow more {more} there")
    return ", or ".join(said)


def new_outlet(before: Analysis, after: Analysis, outlet: float) -> list[Notice]:
    """Say that the first duct no longer is as wide as it is drawn at the fan."""
    drawn, sized = before.graph.section(0), after.graph.section(0)
    if drawn == sized:
        return []
    return [
        warning(
            before.graph.drawing.file,
            "the fan's outlet was taken as wide as the first duct is drawn, "
            f"{section_words(drawn)}, with a velocity pressure of "
            f"{pressure_words(outlet)}; the transition from there to "
            f"{section_words(sized)} is not counted",
            f'write outlet_velocity_pressure = "{outlet:.1f} Pa" under [fan] if so',
        )
    ]


def _airless(analysis: Analysis, choices: Sequence[Choice]) -> list[Notice]:
    """Say which runs lead to closed ends alone, so that no size follows."""
    ducts, drawing = analysis.graph.ducts, analysis.graph.drawing
    sized = {choice.run for choice in choices}
    still = np.unique(ducts.run[analysis.state.flow == 0.0]).tolist()
    runs = [name for name in (drawing.names[run] for run in still) if name not in sized]
    if not runs:
        return []
    return [
        note(
            drawing.file,
            f"no air flows in {listed(runs)}, behind closed ends: left as drawn",
        )
    ]


def _left_round(
    analysis: Analysis, choices: Sequence[Choice], aim: Aim
) -> list[Notice]:
    """Say which runs are round whatever shape is asked for, as flexible duct is."""
    drawing = analysis.graph.drawing
    soft = {
        drawing.names[run] for run in flexible_runs(drawing, analysis.graph.schedule)
    }
    names = [
        choice.run
        for choice in choices
        if choice.run in soft and choice.chosen.shape == Shape.ROUND
    ]
    if aim.shape in (None, Shape.ROUND) or not names:
        return []
    return [
        note(
            drawing.file,
            f"flexible duct is round, and so {listed(names)} "
            f"{'is' if len(names) == 1 else 'are'}, whatever shape is asked for",
            "give a rigid material under [duct.runs.NAME] for another shape",
        )
    ]


def _too_small(
    after: Analysis,
    choices: Sequence[Choice],
    aim: Aim,
    helps: _Helps,
    is_given: bool,
) -> list[Notice]:
    """Say which runs have the largest size that is allowed, and still miss the aim.

    `is_given` says that its rate is no highest one that was sought.
    """
    notices = []
    most = np.inf if aim.rate is None else aim.rate * (1 + 1e-9)
    dusty = after.graph.schedule.may_carry_dust
    may_rise = is_given and aim.rate is not None and not after.system.is_short
    steep = [choice for choice in choices if choice.gradient > most]
    others = [choice for choice in choices if choice.gradient <= most]
    bound = (LARGEST, BEFORE, DRAWN)
    groups = _alike(steep, bound, helps) + _alike(others, bound, helps)
    for runs, ways in groups:
        missing = "keeps the largest velocity in"
        if aim.rate is not None and runs[0].gradient > most:
            missing = f"keeps {rate_words(aim.rate)} in"
        elif aim.method == "static regain" and all(VELOCITY not in w for w in ways):
            missing = "is paid for by the static regain in"
        has_sides = any(choice.chosen.shape != Shape.ROUND for choice in runs)
        within = f"within the limits{f' and {FLATTEST:g} to 1' * has_sides}"
        allow = _ASK if dusty else _to_allow(ways)
        remedy = allow or _SHARE
        if runs[0].limit == BEFORE:  # which is smaller too at a higher rate
            within = "up to that of the duct before"
        elif runs[0].limit == DRAWN:
            within = "up to the one drawn"
        elif may_rise and "velocity" not in missing:
            reads_on = "" if allow.endswith("there") else "allow "
            higher = f"{reads_on}a higher rate"
            remedy = f"{allow}, or {higher}" if allow else f"{higher}, or {_SHARE}"
        shown = listed([choice.run for choice in runs])
        notices.append(
            warning(
                after.graph.drawing.file,
                f"no size {within} {missing} {shown}: the largest was taken",
                remedy,
            )
        )
    return notices


def _unpaid(after: Analysis, choices: Sequence[Choice], aim: Aim) -> list[Notice]:
    """Say for which runs the regain before them does not pay after all, or cannot."""
    graph, file = after.graph, after.graph.drawing.file
    legs, notices = graph.legs, list[Notice]()
    better = legs.duct[legs.is_branch & (legs.entry != int(TakeoffEntry.RADIUS))]
    plain = {graph.drawing.names[run] for run in graph.ducts.run[better].tolist()}
    other = 'size with --method "equal friction"'
    unpaid = unpaid_by_regain(after, choices, aim)
    never = [choice.run for choice in choices if choice.limit == UNPAID]
    never += [run for run, pays in unpaid.items() if not pays]
    if larger := [run for run, pays in unpaid.items() if pays]:
        notices.append(
            warning(
                file,
                "with these sizes the static regain does not pay for what is lost in "
                f"{listed(larger)}",
                _ASK if graph.schedule.may_carry_dust else "take a larger size there",
            )
        )
    for runs, entry in (
        ([run for run in never if run in plain], "give its branch a better entry, or "),
        ([run for run in never if run not in plain], ""),
    ):
        if runs:
            notices.append(
                warning(
                    file,
                    "no size is paid for by the static regain in "
                    f"{listed(runs)}: the smallest that lacks hardly more than others "
                    "was taken",
                    f"{entry}{other}",
                )
            )
    return notices
