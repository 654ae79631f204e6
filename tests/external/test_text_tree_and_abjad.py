"""Source: abjad (Python package for LilyPond source): what it prints for the same music."""

from __future__ import annotations

from typing import Any

import abjad
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tunebook.write.lilypond.leaves import Component, Group, Leaf, context, grace_group, printed

heads = st.sampled_from(["c'", "fs''!", "bf,?", "<c' e'>", "<d' fs'! a'>", "r", "s", "R"])
values = st.sampled_from(["1", "2.", "4", "8..", "16", "\\breve"])
# One literal a place: abjad sorts several.
before = st.sampled_from([[], ["\\stemUp"], ["\\once \\hide Rest", "\\stemDown"]])
after = st.sampled_from([[], ["-1 ("], ["~"], ["] ) \\crossed 2"]])


@st.composite
def leaves(draw: st.DrawFn, *, with_graces: bool = True) -> Leaf:
    leaf = Leaf(draw(heads), draw(values), list(draw(before)), list(draw(after)))
    if with_graces and draw(st.booleans()):
        inner = draw(st.lists(leaves(with_graces=False), min_size=1, max_size=2))
        leaf.graces = grace_group(draw(st.sampled_from(["\\grace", "\\slashedGrace"])), inner)
    elif with_graces and draw(st.booleans()):
        inner = draw(st.lists(leaves(with_graces=False), min_size=1, max_size=2))
        leaf.late_graces = Group(list(inner))
    return leaf


@st.composite
def groups(draw: st.DrawFn, depth: int = 2) -> Group:
    part = leaves() if depth == 0 else st.one_of(leaves(), groups(depth - 1))
    parts = draw(st.lists(part, min_size=1, max_size=3))
    group = Group(list(parts))
    group.before += draw(st.sampled_from([[], ["\\tuplet 3/2"]]))
    group.opening += draw(st.sampled_from([[], ["\\key a \\minor", "\\time 3/4"]]))
    group.closing += draw(st.sampled_from([[], ['\\bar "|"', "\\noBreak"]]))
    return group


def put(component: Any, lines: list[str], site: str) -> None:
    if lines:
        abjad.attach(abjad.LilyPondLiteral(lines, site=site), component)


def in_abjad(component: Component) -> Any:
    """The same music made with abjad."""
    if isinstance(component, Group):
        made = abjad.Container([in_abjad(part) for part in component.parts])
        put(made, component.before, "before")
        put(made, component.opening, "opening")
        put(made, component.closing, "closing")
        return made
    kinds = {"r": abjad.Rest, "s": abjad.Skip, "R": abjad.MultimeasureRest}
    kind = kinds.get(component.head)
    if kind is None:
        kind = abjad.Chord if component.head.startswith("<") else abjad.Note
    leaf = kind(component.head + component.value)
    put(leaf, component.before, "before")
    put(leaf, component.after, "after")
    if component.graces is not None:
        inside = [in_abjad(part) for part in component.graces.parts]
        command = component.graces.brackets[0].removesuffix(" {")
        abjad.attach(abjad.BeforeGraceContainer(inside, command=command), leaf)
    if component.late_graces is not None:
        inside = [in_abjad(part) for part in component.late_graces.parts]
        abjad.attach(abjad.AfterGraceContainer(inside), leaf)
    return leaf


@settings(max_examples=150, deadline=None)
@given(st.lists(groups(), min_size=1, max_size=3))
def test_a_score_is_printed_as_abjad_prints_it(bars: list[Group]) -> None:
    ours = context(
        "Score", "T", [context("Staff", "S", [context("Voice", "V", bars)])], together=True
    )
    voice = abjad.Voice([in_abjad(bar) for bar in bars], name="V")
    theirs = abjad.Score([abjad.Staff([voice], name="S")], name="T")
    assert printed(ours) == str(abjad.lilypond(theirs))


def test_single_heads_of_a_chord_are_tied_where_they_stand() -> None:
    text = printed(Leaf("<c' e' g'>", "4", tied_heads=(0, 2)))
    assert text.count("\\tied") == 2
    assert text.index("\\tied") < text.index("c'") < text.index("e'") < text.rindex("\\tied")


def test_a_head_that_is_no_pitch_cannot_be_written() -> None:
    with pytest.raises(Exception, match=r".+"):
        printed(Leaf("no pitch", "4"))
