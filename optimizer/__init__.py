"""What to buy and exactly where to put it: acoustic treatment for a small room and a budget.

from optimizer import load_project, make_plan
plan = make_plan(load_project("scenarios/spare_room.toml"))
print(plan.cost_cents, [row.where for row in plan.card.rows if not row.ok_after])
"""
