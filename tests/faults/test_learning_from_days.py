"""Learning from whole days: two batches in a kitchen 40 % off, and the forecast of the third one's rests."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from fast_day import FastDay  # noqa: E402
from fault_table import believed  # noqa: E402
from staged import staged_plan  # noqa: E402
from tourier.device.virtual.cook import Cook  # noqa: E402
from tourier.device.virtual.kitchen import PlayedKitchen  # noqa: E402
from tourier.device.virtual.scenarios import scenario  # noqa: E402
from tourier.logbook import Logbook  # noqa: E402
from tourier.logbook.account.kitchen import cold_spells  # noqa: E402
from tourier.logbook.account.steps import account  # noqa: E402
from tourier.logbook.learning import ledger  # noqa: E402
from tourier.logbook.learning.heat import forecast_error_c  # noqa: E402
from tourier.logbook.learning.learn import learn  # noqa: E402

from shared_schedule import plan as P  # noqa: E402
from shared_schedule.plan_writer import encode_plan  # noqa: E402


@pytest.mark.slow
@pytest.mark.parametrize("factor", [0.6, 1.4])
def test_two_days_halve_the_error_of_the_thirds_rests(tmp_path, factor):
    plan, text = staged_plan()
    raw = encode_plan(plan)
    with Logbook(tmp_path / "book.sqlite") as book:
        for n in range(3):
            kitchen = PlayedKitchen(believed(plan), seed=5)
            kitchen.film["fridge"] = plan.film_fridge_mw / 1000 * factor
            day = FastDay(plan, raw, kitchen, Cook(plan, scenario("good"), n)).run(plan.ready_at_s + 8 * 3600)
            if n == 2:
                learn(book)
            number = book.collect(f"timer {n}", raw, day.journal, day.samples, text)
        values = {v.quantity: v for v in ledger.in_force(book)}
        spells = cold_spells(account(book.load(number)), P.FRIDGE)
        assert number not in values["film_fridge"].batches and len(spells) >= 2
        before = forecast_error_c(spells, plan.film_fridge_mw / 1000, plan.fridge_cdeg / 100)
        air_c = values["fridge_c"].value if "fridge_c" in values else plan.fridge_cdeg / 100
        after = forecast_error_c(spells, values["film_fridge"].value, air_c)
    print(f"\nfactor {factor}: {before:.2f} -> {after:.2f} °C")
    assert after <= before / 2
    if factor > 1:  # folds after well-chilled rests tell the bench too, each day's forecast by the other's
        bench = values["bench_effusivity"]
        assert bench.low < bench.value < bench.high and bench.error_after <= 0.8 * bench.error_before
