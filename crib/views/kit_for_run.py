"""The changeover kit of one run, with the swap list that has the first say."""

from __future__ import annotations

from crib.outlook.kits_ahead import RunKit, make_run_kit
from crib.outlook.shop_plan import ShopPlan
from crib.outlook.swap_list import rows_within


def kit_for_run(plan: ShopPlan, run_id: int) -> RunKit:
    """Compare what sits in the machine with what a run's part wants.

    Args:
        plan: The shop's plan.
        run_id: The run, planned or running.

    Raises:
        NotKnown: No such run.
        Conflict: The run is done, or its part has no operations.
    """
    return make_run_kit(plan, run_id, rows_within)
