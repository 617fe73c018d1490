"""The watcher's rules on a scripted folder with its own clock."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scripted import ScriptedFolder, follow

from inspector.files import Stamp
from inspector.settle import CLOSED_S, OPEN_S, RETRY_S, STILL_S, Sign
from inspector.watch import Again, Companion, Finished, Notice, Vanished

A, B, C = "/evening/a.dng", "/evening/b.dng", "/evening/c.dng"
Step = tuple[float, Callable[[ScriptedFolder], None]]


def finished(folder: ScriptedFolder) -> list[tuple[float, str]]:
    return [(round(t, 3), c.path) for t, c in follow(folder) if isinstance(c, Finished)]


def others(folder: ScriptedFolder) -> list[object]:
    return [change for _, change in follow(folder) if not isinstance(change, Finished)]


def test_closed_frame_is_finished_at_once() -> None:
    folder = ScriptedFolder([(1, lambda f: f.put(A))], until=10)
    assert finished(folder) == [(round(1 + CLOSED_S, 3), A)]


def test_a_frame_held_open_waits_for_its_closing_however_long_it_pauses() -> None:
    script: list[Step] = [(1, lambda f: f.open(A))]
    script += [(1 + 4 * k, lambda f: f.append(A, 10)) for k in range(4)]
    script += [(14, lambda f: f.close(A))]
    assert finished(ScriptedFolder(script, until=30)) == [(round(14 + CLOSED_S, 3), A)]


def test_a_missed_closing_costs_time_not_the_frame() -> None:
    script: list[Step] = [(1, lambda f: f.open(A)), (2, lambda f: f.append(A, 10))]
    assert finished(ScriptedFolder(script, until=60)) == [(round(2 + OPEN_S, 3), A)]


def test_an_empty_file_is_waited_for_though_it_was_closed() -> None:
    """Some software makes the file first and fills it later."""
    script: list[Step] = [(1, lambda f: f.open(A)), (1.1, lambda f: f.close(A))]
    later: list[Step] = [
        (6, lambda f: f.tell(A, Sign.OPENED)),
        (7, lambda f: f.append(A, 10)),
        (8, lambda f: f.close(A)),
    ]
    assert finished(ScriptedFolder(script + later, until=60)) == [(round(8 + CLOSED_S, 3), A)]
    assert finished(ScriptedFolder(script, until=60)) == [(round(1.1 + OPEN_S, 3), A)]


def test_without_word_of_closing_size_and_time_must_be_still() -> None:
    script: list[Step] = [(0, lambda f: f.open(A))]
    script += [(0.9 * k, lambda f: f.append(A, 10)) for k in range(1, 5)]
    folder = ScriptedFolder(script, until=20, tells_closing=False)
    assert finished(folder) == [(round(3.6 + STILL_S, 3), A)]


def test_polling_alone_finds_whole_frames() -> None:
    script: list[Step] = [(0.5, lambda f: f.open(A))]
    script += [(0.5 + 0.4 * k, lambda f: f.append(A, 10)) for k in range(1, 9)]
    folder = ScriptedFolder(script, until=20, tells=False, every=1.0)
    [(when, path)] = finished(folder)
    assert path == A
    assert 3.7 + STILL_S <= when <= 3.7 + STILL_S + 2
    assert folder.looks >= 15


def test_lost_events_are_made_good_by_looking_round() -> None:
    script: list[Step] = [
        (1, lambda f: setattr(f, "tells", False)),
        (2, lambda f: f.put(A)),
        (3, lambda f: setattr(f, "tells", True)),
    ]
    [(when, path)] = finished(ScriptedFolder(script, until=20))
    assert path == A
    assert when <= 2 + 5.0 + STILL_S


def test_a_new_subfolder_is_looked_into_at_once() -> None:
    def unpack(folder: ScriptedFolder) -> None:
        folder.tells = False
        folder.put(A)
        folder.nudge()

    [(when, _)] = finished(ScriptedFolder([(2, unpack)], until=20))
    assert when == pytest.approx(2 + STILL_S)


def test_a_reader_in_between_delays_nothing() -> None:
    script: list[Step] = [(1, lambda f: f.put(A)), (1.01, lambda f: f.read(A))]
    assert finished(ScriptedFolder(script, until=10)) == [(round(1 + CLOSED_S, 3), A)]


def test_reading_a_judged_frame_does_not_offer_it_again() -> None:
    script: list[Step] = [(1, lambda f: f.put(A)), (2, lambda f: f.read(A))]
    assert len(finished(ScriptedFolder(script, until=60))) == 1


def test_a_copy_that_sets_the_time_after_closing_counts_once() -> None:
    script: list[Step] = [(1, lambda f: f.put(A)), (1.02, lambda f: f.set_time(A, 7))]
    folder = ScriptedFolder(script, until=30)
    assert finished(folder) == [(round(1.02 + CLOSED_S, 3), A)]


def test_a_temporary_name_is_passed_over_until_it_is_renamed() -> None:
    script: list[Step] = [
        (1, lambda f: f.put("/evening/a.dng.part")),
        (3, lambda f: f.rename("/evening/a.dng.part", A)),
    ]
    folder = ScriptedFolder(script, until=20)
    [(when, change)] = follow(folder)
    assert when == pytest.approx(3 + CLOSED_S)
    assert change == Finished(A, Stamp(100, 1_000_000_000))


def test_a_frame_renamed_while_it_arrives_is_offered_under_its_last_name() -> None:
    script: list[Step] = [
        (1, lambda f: f.open(A)),
        (2, lambda f: f.append(A, 10)),
        (2.5, lambda f: f.rename(A, B)),
    ]
    folder = ScriptedFolder(script, until=20)
    assert [c.path for _, c in follow(folder) if isinstance(c, Finished | Vanished)] == [B]


def test_a_frame_replaced_under_its_name_is_offered_again() -> None:
    script: list[Step] = [(1, lambda f: f.put(A)), (4, lambda f: f.put(A, 200))]
    folder = ScriptedFolder(script, until=20)
    sizes = [c.stamp.size for _, c in follow(folder) if isinstance(c, Finished)]
    assert sizes == [100, 200]


def test_a_frame_that_vanishes_is_told_of_once() -> None:
    script: list[Step] = [(1, lambda f: f.open(A)), (2, lambda f: f.remove(A))]
    folder = ScriptedFolder(script, until=60)
    assert list(map(type, others(folder))) == [Vanished]


def test_known_frames_are_not_offered_unless_they_changed() -> None:
    files = {A: Stamp(1, 1), B: Stamp(2, 2)}
    folder = ScriptedFolder([], until=10, files=files)
    known = {A: Stamp(1, 1), B: Stamp(1, 1)}
    assert [c.path for _, c in follow(folder, known) if isinstance(c, Finished)] == [B]


def test_newest_first_and_the_backlog_after_it() -> None:
    folder = ScriptedFolder([], until=60)
    folder.script = [
        (1, lambda f: f.put(A)),
        (2, lambda f: f.put(B)),
        (3, lambda f: f.put(C)),
    ]
    changes = follow(folder)
    first = next(changes)[1]  # and now the judging takes until 4
    while folder.script:
        folder.script.pop(0)[1](folder)
        folder.clock += 1
    rest = [change for _, change in changes]
    order = [(c.path, c.waiting) for c in (first, *rest) if isinstance(c, Finished)]
    assert order == [(A, 0), (C, 1), (B, 0)]


def test_a_frame_that_changes_unseen_while_it_waits_is_offered_as_it_is_then() -> None:
    folder = ScriptedFolder([], until=60, files={A: Stamp(1, 5), B: Stamp(1, 9)})
    changes = follow(folder)
    first = next(changes)[1]
    assert isinstance(first, Finished)
    assert first.path == B
    folder.files[A] = Stamp(2, 7)
    rest = [change.stamp for _, change in changes if isinstance(change, Finished)]
    assert rest == [Stamp(2, 7)]


def test_a_closed_frame_that_grows_unseen_is_waited_for() -> None:
    def grow(folder: ScriptedFolder) -> None:
        folder.tells = False
        folder.append(A, 10)

    script: list[Step] = [(1, lambda f: f.put(A))]
    script += [(1.02 + 0.3 * k, grow) for k in range(6)]
    folder = ScriptedFolder(script, until=60, every=0.1)
    sizes = [change.stamp.size for _, change in follow(folder) if isinstance(change, Finished)]
    assert sizes == [160]


def test_what_lies_there_comes_with_the_newest_first() -> None:
    folder = ScriptedFolder([], until=10, files={A: Stamp(1, 5), B: Stamp(1, 9), C: Stamp(1, 7)})
    assert [path for _, path in finished(folder)] == [B, C, A]


def test_an_unread_frame_is_offered_again_a_bounded_number_of_times() -> None:
    folder = ScriptedFolder([(1, lambda f: f.put(A))], until=60)
    offers = []
    for when, change in follow(folder):
        assert isinstance(change, Finished)
        offers.append((when, change.last))
        if not change.last:
            folder.inbox.append(Again(change.path, change.stamp))
    times = [when for when, _ in offers]
    assert [last for _, last in offers] == [False] * len(RETRY_S) + [True]
    gaps = [b - a for a, b in pairwise(times)]
    assert gaps == pytest.approx(list(RETRY_S))


def test_an_unread_frame_that_goes_on_arriving_gets_all_its_tries_again() -> None:
    folder = ScriptedFolder([(1, lambda f: f.put(A)), (20, lambda f: f.put(A, 300))], until=60)
    sizes = []
    for _, change in follow(folder):
        assert isinstance(change, Finished)
        sizes.append(change.stamp.size)
        if not change.last:
            folder.inbox.append(Again(change.path, change.stamp))
    assert sizes == [100] * 3 + [300] * 3


def test_a_retry_that_is_overtaken_by_a_new_state_is_dropped() -> None:
    folder = ScriptedFolder([(1, lambda f: f.put(A))], until=60)
    sizes = []
    for _, change in follow(folder):
        assert isinstance(change, Finished)
        sizes.append(change.stamp.size)
        if len(sizes) == 1:
            folder.put(A, 500)
            folder.inbox.append(Again(A, change.stamp))
    assert sizes == [100, 500]


def test_companions_are_said_once_and_other_files_never() -> None:
    script: list[Step] = [
        (1, lambda f: f.put("/evening/a.jpg")),
        (2, lambda f: f.put("/evening/b.jpg")),
        (3, lambda f: f.put("/evening/notes.txt")),
    ]
    assert others(ScriptedFolder(script, until=30)) == [Companion("/evening/a.jpg")]


def test_the_folder_goes_and_comes_back() -> None:
    def away(folder: ScriptedFolder) -> None:
        folder.here = False

    def back(folder: ScriptedFolder) -> None:
        folder.here = True
        folder.files[B] = Stamp(9, 9)

    folder = ScriptedFolder(
        [(1, lambda f: f.put(A)), (3, lambda f: f.open(C)), (4, away), (30, back)], until=60
    )
    changes = [change for _, change in follow(folder)]
    notices = [c.text for c in changes if isinstance(c, Notice)]
    assert notices == [
        "the hot folder is gone; waiting for it to come back",
        "the hot folder is back",
    ]
    assert not any(isinstance(c, Vanished) for c in changes)
    assert [c.path for c in changes if isinstance(c, Finished)].count(A) == 1
    assert {c.path for c in changes if isinstance(c, Finished)} >= {A, B}


def test_the_folders_own_notices_are_passed_on() -> None:
    folder = ScriptedFolder([], until=1, said=["looking every second"])
    assert others(folder) == [Notice("looking every second")]


NAMES = [f"/evening/{n}.dng" for n in "abcd"]
ACTIONS = st.sampled_from(["put", "open", "append", "close", "rename", "set_time", "mute", "read"])


@given(
    st.lists(st.tuples(st.floats(0, 30), ACTIONS, st.sampled_from(NAMES)), max_size=30),
    st.booleans(),
    st.booleans(),
)
def test_every_frame_is_offered_in_its_final_state_exactly_once(
    steps: list[tuple[float, str, str]], tells: bool, tells_closing: bool
) -> None:
    def act(action: str, path: str) -> Callable[[ScriptedFolder], None]:
        def apply(folder: ScriptedFolder) -> None:
            folder.clock += 1e-6  # no two things happen at one time
            there = path in folder.files
            match action:
                case "put":
                    folder.put(path)
                case "open":
                    folder.open(path)
                case "append" | "close" | "read" if there:
                    getattr(folder, action)(*([path, 10] if action == "append" else [path]))
                case "set_time" if there:
                    folder.set_time(path, round(folder.clock * 1e9) + 5)
                case "rename" if there:
                    folder.rename(path, path.replace("/evening/", "/evening/x"))
                case "mute":
                    folder.tells = not folder.tells and tells

        return apply

    script = [(when, act(action, path)) for when, action, path in steps]
    folder = ScriptedFolder(script, until=200, tells=tells, tells_closing=tells_closing)
    offered = Counter((c.path, c.stamp) for _, c in follow(folder) if isinstance(c, Finished))
    for path, stamp in folder.files.items():
        assert offered[path, stamp] == 1
    assert max(offered.values(), default=0) <= 1
