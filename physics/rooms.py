"""Airflows from the loads of rooms and from shares of a total."""

from dataclasses import replace

from elbowroom.layout import (
    BadInput,
    Notice,
    RoomsSpec,
    Schedule,
    TerminalSpec,
    airflow_words,
    allowed,
    density_words,
    difference_words,
    error,
    heat_capacity_words,
    heat_words,
    note,
    refusal,
    toml_key,
)

from .air import air_of

SPECIFIC_HEAT = 1006.0  # J/(kg K), dry air at room temperature


def with_airflows(schedule: Schedule) -> tuple[Schedule, tuple[Notice, ...]]:
    """Give every terminal the airflow that follows from its load or share.

    Parameters
    ----------
    schedule
        As it was read.

    Returns
    -------
    schedule, notices
        With an airflow at each terminal, and how each was worked out.

    Raises
    ------
    BadInput
        If a load has no temperature difference, a share no total, or the shares are
        more than the whole.

    Notes
    -----
    Whether all airflows make up the total is said with the drawing, which may have some
    of them.

    Airflow = load / (density x specific heat x temperature difference), with the
    density of the air in the ducts at the site: definition of sensible heat.
    """
    waiting = {
        name: spec
        for name, spec in schedule.terminals.items()
        if spec.load is not None or spec.share is not None
    }
    if not waiting:
        return schedule, ()
    worked: dict[str, list[str]] = {}
    density = air_of(schedule).density
    faults: list[Notice] = []
    terminals: dict[str, TerminalSpec] = dict(schedule.terminals)
    for name, spec in waiting.items():
        where = f"{schedule.file}, [terminals.{toml_key(name)}]"
        try:
            flow, how, part = _airflow(spec, schedule.rooms, density, where)
        except BadInput as bad:
            faults.extend(bad.faults)
            continue
        if not allowed.AIRFLOW.holds(flow):
            what = f"its airflow, by {how}, comes to {flow:g} m3/s"
            faults.append(error(where, what, "correct what it follows from"))
            continue
        terminals[name] = replace(spec, flow=flow)
        worked.setdefault(how, []).append(f"'{name}' {airflow_words(flow)} for {part}")
    whole = sum(spec.share or 0.0 for spec in waiting.values())
    if whole > 1.0 + 1e-9:
        faults.append(
            error(
                f"{schedule.file}, [terminals]",
                f"the shares add up to {whole:.1%}",
                "make them 100 % or less",
            )
        )
    if faults:
        raise BadInput(faults)
    notices = tuple(
        note(f"{schedule.file}, [terminals]", f"airflows by {how}: {'; '.join(each)}")
        for how, each in worked.items()
    )
    return replace(schedule, terminals=terminals), notices


def _airflow(
    spec: TerminalSpec, rooms: RoomsSpec, density: float, where: str
) -> tuple[float, str, str]:
    """Airflow, m³/s, of a terminal by its load or share, how, and of how much.

    `density` is that of the air in the ducts, kg/m³; BadInput as of `with_airflows`.
    """
    if spec.load is not None:
        if rooms.difference is None:
            raise refusal(
                where,
                "its load gives no airflow without a temperature difference",
                'write temperature_difference = "8 K" under [rooms]',
            )
        how = (
            f"load over {difference_words(rooms.difference)}, in air of "
            f"{density_words(density)} and {heat_capacity_words(SPECIFIC_HEAT)}"
        )
        flow = spec.load / (density * SPECIFIC_HEAT * rooms.difference)
        return flow, how, heat_words(spec.load)
    share = spec.share or 0.0
    if rooms.total is None:
        raise refusal(
            where,
            "its share is of nothing",
            'write total_airflow = "0.5 m3/s" under [rooms]',
        )
    how = f"share of {airflow_words(rooms.total)}"
    return share * rooms.total, how, f"{share:.1%}"
