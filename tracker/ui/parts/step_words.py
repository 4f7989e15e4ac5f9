"""A step of a service as a line of words."""

from __future__ import annotations

from collections.abc import Sequence

from tracker.record.mixing import costs, developer_grams, read_ratio
from tracker.record.records import Step
from tracker.ui.parts.words import plain
from tracker.words import listed, sentence_case


def step_words(step: Step) -> str:
    """One step as a line, ready for Markdown: where and what first."""
    head = [plain(sentence_case(step.zone)), plain(step.what)]
    parts = [f"**{': '.join(filter(None, head))}**"] if any(head) else []
    parts += [plain(word) for word in (step.product, bowl_words(step)) if word]
    if step.minutes is not None:
        parts.append(f"{step.minutes:g} min")
    parts += [plain(word) for word in (placement_words(step), step.note) if word]
    return " · ".join(parts) or "Nothing noted yet"


def bowl_words(step: Step) -> str:
    """Amount, mixing ratio and developer, such as ``30 g, mixed 1:1.5 with 45 g of 20 vol (6 %)``."""
    amount = step.amount.text if step.amount is not None else ""
    strength = f"developer {step.developer.text}" if step.developer is not None else ""
    if not step.ratio:
        return ", ".join(filter(None, (amount, strength)))
    mixed = f"mixed {step.ratio}"
    beside = developer_grams(step.amount.grams, step.ratio) if step.amount is not None else None
    if step.developer is not None:
        mixed += f" with {step.developer.text}" if beside is None else f" with {beside:.0f} g of {step.developer.text}"
    return ", ".join(filter(None, (amount, mixed)))


def total_words(step: Step) -> str:
    """What the bowl holds in all, or why that cannot be said; nothing where there is no ratio."""
    if not step.ratio:
        return ""
    if read_ratio(step.ratio) is None:
        return f"“{step.ratio}” is kept as you typed it. Written as 1:1.5 it also gives the grams of developer."
    beside = developer_grams(step.amount.grams, step.ratio) if step.amount is not None else None
    if step.amount is None or beside is None:
        return ""
    return f"{step.amount.grams:.0f} g and {beside:.0f} g of developer: {step.amount.grams + beside:.0f} g in the bowl."


def placement_words(step: Step) -> str:
    """How it was placed, such as ``slices and foils, weave fine, sections diagonal back``."""
    weave = f"weave {step.weave}" if step.weave else ""
    sections = f"sections {step.sections}" if step.sections else ""
    return ", ".join(filter(None, (listed(step.placement), weave, sections)))


def cost_words(steps: Sequence[Step]) -> str:
    """What the products of these steps cost; nothing where nothing was charged."""
    return listed(cost.text for cost in costs((step.charges, step.waste) for step in steps))
