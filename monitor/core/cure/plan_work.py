"""A recipe and what is done of it, as blocks of acts between pours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.core.cure.plan_search import Block, Task
from monitor.core.cure.plan_values import ActKind, Done
from monitor.core.cure.recipe import Moment, Recipe, Step


@dataclass(frozen=True)
class Act:
    """One act still to come: of which step, and the name of its window."""

    step: Step
    what: ActKind
    name: str
    minutes: float
    window: str | None


@dataclass(frozen=True)
class Work:
    """What is still to do, in blocks. `layers[b]` is the step whose layer block b stands on.

    `poured_s` is when the layer under block 0 was poured, None where there is none.
    """

    blocks: tuple[Block, ...]
    acts: tuple[tuple[Act, ...], ...]
    layers: tuple[Step | None, ...]
    poured_s: float | None
    below: Done | None
    earlier: tuple[tuple[Step, float], ...]


def work_left(recipe: Recipe, done: Sequence[Done]) -> Work:
    """The acts still to come, in order, cut into blocks at each pour."""
    marks = {mark.step: mark for mark in done}
    items = _items(recipe)
    last = max(
        (n for n, (act, _) in enumerate(items) if _is_start(act) and act.step.key in marks),
        default=-1,
    )
    poured = [
        act.step for act, _ in items[: last + 1] if act.what == "pour" and act.step.key in marks
    ]
    pending = [
        act
        for act, owners in items[last + 1 :]
        if _is_start(act) or not any(act.what in marks[o].moments for o in owners if o in marks)
    ]
    groups: list[list[Act]] = [[]]
    for act in pending:
        groups[-1].append(act)
        if act.what == "pour":
            groups.append([])
    layers: list[Step | None] = [poured[-1] if poured else None]
    layers += [group[-1].step for group in groups[:-1]]
    below = marks[poured[-1].key] if poured else None
    return Work(
        blocks=tuple(_block(group) for group in groups),
        acts=tuple(tuple(group) for group in groups),
        layers=tuple(layers),
        poured_s=None if below is None else below.at_s,
        below=below,
        earlier=tuple((step, marks[step.key].at_s) for step in poured),
    )


def _items(recipe: Recipe) -> list[tuple[Act, tuple[str, ...]]]:
    """Every act of a recipe in order, with the steps whose marks may say it is done."""
    items: list[tuple[Act, tuple[str, ...]]] = []
    carried: list[tuple[Moment, str]] = []
    for step in recipe.steps:
        window = None if step.needs == "none" else step.needs
        what: ActKind = "work" if step.resin is None else "pour"
        items.append((Act(step, what, step.name, step.hands_on_min, window), (step.key,)))
        carried += [(moment, step.key) for moment in step.moments]
        if step.resin is None:
            continue
        for moment, owner in carried:
            act = Act(step, moment.kind, step.name, moment.hands_on_min, moment.kind)
            items.append((act, (step.key, owner)))
        carried = []
    return items


def _is_start(act: Act) -> bool:
    return act.what in ("pour", "work")


def _block(acts: Sequence[Act]) -> Block:
    tasks = [Task(f"{act.what} {act.step.key}", act.minutes, act.window) for act in acts]
    if acts and acts[-1].what == "pour":
        return Block(tuple(tasks[:-1]), tasks[-1])
    return Block(tuple(tasks), None)
