"""Whether the airflows at the terminals make up the total that is declared."""

import math

from .faults import Notice, warning
from .fittings import Terminals
from .quantity_words import airflow_words
from .schedule import Schedule

_ROUNDING = 0.002  # of a whole made of shares such as 33.3 %
_COUNTED = "the layout is worked out for what its terminals have"


def total_notices(schedule: Schedule, terminals: Terminals) -> list[Notice]:
    """Say where a total airflow is not what all terminals have, or nothing uses it.

    Parameters
    ----------
    schedule
        With its total, m³/s, and the shares of it.
    terminals
        With the airflow of each, m³/s, whether the schedule or the drawing says it.
    """
    total, specs = schedule.rooms.total, schedule.terminals.values()
    if total is None or (schedule.source.is_return and not specs):  # of the supply
        return []
    every = float(terminals.flow.sum())
    if math.isnan(every) or abs(every - total) <= _ROUNDING * total:
        return []
    shares = [spec.share for spec in specs if spec.share is not None]
    if not shares:
        return [
            warning(
                f"{schedule.file}, [rooms] total_airflow",
                f"it is {airflow_words(total)}, and no terminal has a share of it; "
                f"their airflows add up to {airflow_words(every)}",
                'give terminals a share, such as share = "25 %", or delete it',
                effect="none: the airflows at the terminals count",
            )
        ]
    has = (
        f"the shares add up to {sum(shares):.1%}, and all terminals have "
        f"{airflow_words(every)}"
    )
    where, whole = f"{schedule.file}, [terminals]", airflow_words(total)
    if every < total:
        return [
            warning(
                where,
                f"{has} of the total airflow of {whole}: "
                f"{airflow_words(total - every)} reach none",
                "correct the shares or total_airflow under [rooms]",
                effect=_COUNTED,
            )
        ]
    return [
        warning(
            where,
            f"{has}, more than the total airflow of {whole} by "
            f"{airflow_words(every - total)}",
            "correct the shares, the airflows beside them, or total_airflow under "
            "[rooms]",
            effect=_COUNTED,
        )
    ]
