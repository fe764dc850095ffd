"""Results for notebooks: a table of rows, and HTML that shows itself."""

from collections.abc import Sequence
from html import escape
from importlib import metadata
from typing import TYPE_CHECKING, Any

import numpy as np

from elbowroom.layout import Basis, short_length, units

if TYPE_CHECKING:
    from .analysis import Analysis
    from .compare import Comparison

_SHOWN = 12  # rows of an analysis that shows itself


def element_rows(analysis: "Analysis") -> list[dict[str, Any]]:
    """Every duct and fitting as a row in SI units, in walking order."""
    e = analysis.elements
    on_path = np.zeros(len(e.kind), dtype=bool)
    on_path[analysis.path(analysis.critical)] = True
    return [
        {
            "id": identifier,
            "name": analysis.name(row),
            "what": analysis.words(row),
            "section": analysis.section(row).words,
            "length_m": float(e.length[row]),
            "flow_m3_s": float(e.flow[row]),
            "velocity_m_s": float(e.velocity[row]),
            "coefficient": float(e.coefficient[row]),
            "reynolds_factor": float(e.reynolds_factor[row]),
            "loss_pa": float(e.loss[row]),
            "critical": bool(on_path[row]),
            "basis": Basis(int(e.basis[row])).word,
            "source": e.credits[e.credit[row]].source,
        }
        for row, identifier in enumerate(analysis.ids)
    ]


def option_rows(comparison: "Comparison") -> list[dict[str, Any]]:
    """Every option of a comparison as a row in SI units."""
    return [
        {
            "option": option.name,
            "rank": rank,
            "critical_loss_pa": option.analysis.critical_loss,
            "critical_terminal": option.analysis.critical_terminal,
            "fitting_loss_pa": option.analysis.system.fitting_loss,
            "available_pa": option.analysis.system.available,
            "clearance_m": option.clearance,
            "faults": "; ".join(option.faults),
        }
        for option, rank in zip(comparison.options, comparison.ranks, strict=True)
    ]


def frame_of(rows: Sequence[dict[str, Any]]) -> Any:
    """Rows as a pandas DataFrame.

    Raises
    ------
    ImportError
        If pandas is not installed, with what to install.
    """
    try:
        import pandas
    except ImportError:
        raise ImportError(
            "to_frame() needs pandas, which is not installed: pip install pandas"
        ) from None
    return pandas.DataFrame(list(rows))


def analysis_html(analysis: "Analysis") -> str:
    """An analysis as HTML: its outcome and the largest losses."""
    rows = sorted(element_rows(analysis), key=lambda row: -row["loss_pa"])
    shown = [
        (
            row["id"],
            f"{row['name']}: {row['what']}",
            row["section"],
            f"{row['velocity_m_s']:.1f}",
            _coefficient(row["coefficient"] * row["reynolds_factor"]),
            f"{row['loss_pa']:.1f}",
        )
        for row in rows[:_SHOWN]
    ]
    more = len(rows) - len(shown)
    text = (
        f"<p><b>{escape(analysis.graph.drawing.file)}</b>: "
        f"{_pressure(analysis.critical_loss)} "
        f"{escape(analysis.critical_words)}, "
        f"{_pressure(analysis.system.fitting_loss)} of it in fittings</p>"
    )
    text += _table(("piece", "what", "size", "m/s", "C", "Pa"), shown)
    return text + (f"<p>and {more} pieces that lose less</p>" if more > 0 else "")


def _coefficient(value: float) -> str:
    """A coefficient with the factor for slow air in it, as all that is printed as C."""
    return "" if np.isnan(value) else f"{value:.3f}"


def _pressure(value: float) -> str:
    """A pressure, Pa, in both units, with as many digits as the table has."""
    return f"{value:.1f} Pa ({units.to_unit(value, 'in.wg'):.4f} in.wg)"


def comparison_html(comparison: "Comparison") -> str:
    """A comparison as HTML: its verdict and the options."""
    shown = [
        (
            row["option"],
            "" if row["rank"] is None else str(row["rank"]),
            f"{row['critical_loss_pa']:.1f}",
            option.analysis.critical_words,
            _clear(row["clearance_m"]),
            row["faults"],
        )
        for row, option in zip(option_rows(comparison), comparison.options, strict=True)
    ]
    heads = ("option", "rank", "loss, Pa", "critical path", "clear, mm", "faults")
    return f"<p>{escape(comparison.verdict)}</p>" + _table(heads, shown)


def _clear(clearance: float | None) -> str:
    if clearance is None:
        return "not measured"
    shown = short_length(abs(clearance), "mm").removesuffix(" mm")
    return f"{'overlaps by ' * (clearance < 0.0)}{shown}"


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    head = "".join(f"<th>{escape(text)}</th>" for text in heads)
    body = "".join(
        f"<tr>{''.join(f'<td>{escape(text)}</td>' for text in row)}</tr>"
        for row in rows
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def picture_of(what: "Analysis | Comparison", **how: Any) -> Any:
    """Picture of a result, by whatever package says that it draws results.

    The viewer says so in the project's metadata, so that nothing here imports it.

    Raises
    ------
    RuntimeError
        If no package does.
    """
    for point in metadata.entry_points(group="elbowroom.pictures"):
        return point.load()(what, **how)
    raise RuntimeError(
        "nothing that draws results is installed; install elbowroom again with pip"
    )
