"""The uncertainty budget: what each source contributes in pounds, and what measuring one thing better would bring."""

from rich.console import Console

from predictor.prediction.gains import Budget
from predictor.prediction.predict import Prediction
from reports.printing import Units, table


def show_budget(prediction: Prediction, budget: Budget, units: Units, out: Console) -> None:
    """Print every source of doubt at the main draw, and the interval's half width with one thing measured better.

    The squares of the sources add up to the square of the total.
    """
    total = sum(share.sd_lbf**2 for share in prediction.shares)
    heads = ["source of doubt", f"{units.weight}, one standard deviation", "share of the variance"]
    rows = [
        [share.source, units.tenths_of_weight(share.sd_lbf), f"{share.sd_lbf**2 / total:.0%}"]
        for share in prediction.shares
    ]
    rows.append(["all together", units.tenths_of_weight(total**0.5), "100%"])
    out.print(f"Uncertainty budget at {units.draw(prediction.main_draw)}:")
    out.print(table(heads, rows, right=(1, 2)))
    now = units.tenths_of_weight(budget.half_width_lbf)
    out.print(
        f"The 90% interval reaches {now} {units.weight} to either side; with one thing measured better:"
    )
    gains = [[gain.measure, units.tenths_of_weight(gain.half_width_lbf)] for gain in budget.gains]
    out.print(table(["measure", f"reach, {units.weight}"], gains, right=(1,)))
