"""A strip at the bench: one line keeps it, tells its lot's stiffness, and asks about what cannot be right."""

import json
import shlex
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest

from datasets.book import ShopBook
from datasets.contents import Contents
from datasets.materials import handbook
from reports import asking, cli, strips
from tests import shop

MSI_PER_GPA = 0.1450377
"""1 psi = 6894.757 Pa (NIST Special Publication 811, 2008, appendix B.8)."""

BENCH = '--lot m7 --span 20 --width "1 1/2" --thickness .125 --on 2026-03-01'


class Result(NamedTuple):
    """How a command ended."""

    code: int
    out: str
    err: str


Run = Callable[[str], Result]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Return a way to type a command line in an empty folder."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("DRAWWEIGHT_BOOK", raising=False)

    def typed(line: str) -> Result:
        code = cli.run(shlex.split(line))
        said = capsys.readouterr()
        return Result(code, said.out, said.err)

    return typed


def contents() -> Contents:
    """Return what the book says."""
    with ShopBook.open(Path("shop.book")) as book:
        return book.contents()


def test_one_line_keeps_a_strip(run: Run) -> None:
    """A strip typed with fractions, pounds and grams starts a book and is kept as typed."""
    result = run(f'strip "sugar maple" {BENCH} 1=.33 "907 g=.66" 3=.98 --note "end grain flat"')
    (kept,) = contents().strips.values()

    assert result.code == 0
    assert "kept 1: strip STRIP-001" in result.out
    assert (kept.id, kept.material, kept.lot) == ("STRIP-001", "hard maple", "m7")
    assert kept.width_in.typed == "1 1/2"
    assert [one.load.lbf for one in kept.loads] == pytest.approx([1, 2, 3], abs=0.001)


def test_its_modulus_by_hand(run: Run) -> None:
    """The modulus is P S³ / 48 I δ where the strip bends little, told in Msi and in GPa beside the handbook's."""
    told = json.loads(run(f'strip "hard maple" {BENCH} 0.3=.1 --json').out)
    by_hand = 0.3 * 20**3 * 12 / (48 * 0.1 * 1.5 * 0.125**3)
    table = run(f'strip "hard maple" {BENCH} 0.6=.2').out

    assert told["strip"]["psi"] == pytest.approx(by_hand, rel=0.001)
    assert told["handbook_psi"] == handbook()["hard maple"].modulus_psi
    (row,) = [line.split() for line in table.splitlines() if line.startswith("this strip")]
    msi, gpa = float(row[6]), float(row[10])
    assert msi == pytest.approx(by_hand / 1e6, abs=0.1)
    assert gpa * MSI_PER_GPA == pytest.approx(msi, abs=0.1)


def test_what_it_does_to_its_lot(run: Run) -> None:
    """The lot's belief moves toward the strip and narrows; a second strip starts from where the first left it."""
    first, second = (
        json.loads(run(f'strip "hard maple" {BENCH} 1=.33 2={down} --json').out) for down in (".66", ".67")
    )

    assert first["lot_before"]["psi"] < first["lot_now"]["psi"] < first["strip"]["psi"]
    assert second["lot_before"] == pytest.approx(first["lot_now"])
    for told in (first, second):
        before, now = (told[name]["high_psi"] / told[name]["low_psi"] for name in ("lot_before", "lot_now"))
        assert now < before


def test_a_lot_of_the_book_names_its_material(run: Run) -> None:
    """The name of a lot that builds or strips of one material have stands for both."""
    run(f'strip "hard maple" {BENCH} 1=.33')
    result = run("strip m7 --span 20 --width 1.5 --thickness .125 1=.33")

    assert result.code == 0
    assert [(one.material, one.lot) for one in contents().strips.values()] == [("hard maple", "m7")] * 2


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (f"strip mapel {BENCH} 1=.33", "wanted a known material, got 'mapel'"),
        (f"strip nosuch {BENCH.replace('--lot m7', '')} 1=.33", "(or name a lot that the book has)"),
        (f'strip "hard maple" {BENCH} 1', "write one = between load and deflection"),
        (f'strip "hard maple" {BENCH} 1=70', "70 thou"),
        (f'strip "hard maple" {BENCH} 9=4.5', "wanted at most 20% of the span"),
        (f'strip "hard maple" {BENCH} 1=.6 2=.3', "wanted a larger deflection under 2 lb"),
        (f'strip "hard maple" {BENCH} 1=0', "wanted a deflection of 0.001 to 40 in"),
    ],
)
def test_what_cannot_be_read_is_refused(run: Run, line: str, said: str) -> None:
    """A slip of the pen ends with one line that says what to do, and nothing is kept."""
    result = run(line)

    assert result.code == 2
    assert said in result.err
    assert contents().strips == {}


def test_a_strip_far_from_what_is_expected_is_asked_about(run: Run) -> None:
    """A strip that reads twice too stiff is not kept unless it is meant; what was expected is told."""
    line = f'strip "hard maple" {BENCH} 1=.13 2=.26'
    asked = run(line)

    assert asked.code == 1
    assert "expected a lot of 1.7 to 2.4 Msi, the strip reads" in asked.err
    assert "--yes" in asked.err
    assert contents().strips == {}
    assert run(f"{line} --yes").code == 0
    assert len(contents().strips) == 1


def test_a_strip_told_twice_is_asked_about(run: Run) -> None:
    """The same line again is not kept unless it is meant, and names the strip that it repeats; so does a file."""
    line = f'strip "hard maple" {BENCH} 1=.33 2=.66'
    run(line)
    another_day = run(f"{line.replace('03-01', '03-02')}")
    asked = run(line)

    assert another_day.code == 0
    assert asked.code == 1
    assert "got the lot, day and readings of STRIP-001 again" in asked.err
    assert "--yes" in asked.err
    assert list(contents().strips) == ["STRIP-001", "STRIP-002"]

    twice = json.dumps({"strip": [shop.strip().data] * 2})
    Path("again.json").write_text(twice, encoding="utf-8")
    added = run("add again.json")
    assert added.code == 1
    assert "got the lot, day and readings of STRIP-003 again" in added.err

    meant = run(f"{line} --yes")
    assert meant.code == 1
    assert meant.err.count("wanted each strip once") == 1
    assert len(contents().strips) == 5


def test_what_alike_strips_share_is_told(run: Run) -> None:
    """The error that no further strip takes away is said, and stands in the JSON: for glass by caliper 3 x 1 %.

    With it go half a per cent of the weights and three times 0.030/20 of a span read by rule.
    """
    line = (
        'strip "limb glass" --lot g1 --span 20 --width 1.500 --thickness .050 --on 2026-03-01 .1=.45 .15=.68'
    )
    said = run(f"{line} --yes")
    told = json.loads(run(f"{line} --json --yes").out)

    by_hand = (0.03**2 + 0.005**2 + (3 * 0.030 / 20) ** 2) ** 0.5
    assert told["log_sd_shared_by_strips"] == pytest.approx(by_hand, rel=0.005)
    assert f"However many strips are read alike, ±{100 * by_hand:.1f}% stays" in said.out


def test_a_strip_is_corrected_with_a_reason(run: Run) -> None:
    """A correction replaces the strip and keeps its id; the first version stays in the book."""
    run(f'strip "hard maple" {BENCH} 1=.33')
    again = run(f'strip "hard maple" {BENCH} 1=.36 --corrects STRIP-001 --because "dial read upside down"')

    assert again.code == 0
    (kept,) = contents().strips.values()
    assert (kept.id, kept.loads[0].deflection_in.inch) == ("STRIP-001", 0.36)
    with ShopBook.open(Path("shop.book")) as book:
        assert [version.reason for version in book.versions("STRIP-001")] == [None, "dial read upside down"]


def test_a_reading_off_the_line_is_named(run: Run) -> None:
    """A misread deflection among good ones is told by its place."""
    result = run(f'strip "hard maple" {BENCH} 1=.34 2=.75 3=.98')

    assert result.code == 1
    assert "Reading 2 lies off the line of the others" in result.out


def test_worse_readings_are_less_sure(run: Run) -> None:
    """Deflections by rule widen the modulus, a thickness by micrometer narrows it."""

    def width(more: str) -> float:
        told = json.loads(run(f'strip "hard maple" {BENCH} 1=.33 2=.66 --json --yes {more}').out)["strip"]
        return float(told["high_psi"] / told["low_psi"])

    assert width("--thickness-sd .0003") < width("") < width("--rule")


def test_predictions_count_a_strip_at_once(run: Run) -> None:
    """A strip of a bow's wood, kept after it was trained on nothing, narrows its prediction and is named as counted."""
    for name, typed in (("form.toml", shop.form()), ("bow.toml", shop.build())):
        asking.save_draft(Path(name), *typed)
    run("form --add form.toml")
    run("add bow.toml")
    before = json.loads(run("predict K-001 --draws 28 --json").out)
    run('strip "sugar maple" --span 20 --width 1.5 --thickness .125 1=.33 2=.66 --yes')
    after = json.loads(run("predict K-001 --draws 28 --json").out)

    assert after["draws"][0]["log_sd"] < before["draws"][0]["log_sd"]
    assert "1 strip test counted" in after["basis"]


def test_a_lot_name_that_two_woods_share_is_refused(run: Run) -> None:
    """A lot name alone says nothing where two materials have such a lot: both are told, and how to say which."""
    run(f'strip "hard maple" {BENCH} 1=.33')
    run(f'strip "red elm" {BENCH} 1=.33 --yes')

    with pytest.raises(LookupError, match="got the lot m7 of hard maple and red elm; name it, with --lot m7"):
        strips.lot_of("m7", None, contents())


def test_the_book_shows_its_strips(run: Run) -> None:
    """Each strip has a line of the book, and the book's own JSON can be added to another one."""
    run(f'strip "hard maple" {BENCH} 1=.33 2=.66')
    (line,) = [line for line in run("show").out.splitlines() if line.startswith("STRIP-001")]
    Path("all.json").write_text(run("show --json").out, encoding="utf-8")

    assert line.split()[1:5] == ["2026-03-01", "hard", "maple,", "m7"]
    assert float(line.split()[5]) == pytest.approx(2.1, abs=0.1)
    assert run("--book other.book add all.json").code == 0
    with ShopBook.open(Path("other.book")) as other:
        assert other.contents().strips == contents().strips
