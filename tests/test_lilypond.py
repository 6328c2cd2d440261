"""LilyPond sources: what is read, and that a score can do no harm.

The expected notes are written out by hand beside each source.
"""

from __future__ import annotations

import gzip
import os
import re
import sys
from pathlib import Path

import pytest

from corpusreg.score.notes import Score
from corpusreg.score.played import perform
from corpusreg.score.readers import read_file
from corpusreg.score.readers.lilypond import box, program
from corpusreg.score.readers.lilypond.lines import parse
from corpusreg.score.readers.lilypond.mending import agrees, beside_the_music, mended, whole
from corpusreg.score.readers.lilypond.score import score_of
from corpusreg.score.readers.lilypond.sources import gather, included, plain, version_of
from corpusreg.system import settings
from corpusreg.system.errors import ReadError


def _missing() -> str:
    """Why LilyPond cannot be run here; on the build server that is a failure."""
    try:
        program.executable()
    except ReadError as error:
        return str(error)
    return ""


def _needs(fault: str) -> pytest.MarkDecorator:
    missing = bool(fault) and not os.environ.get("CI")
    return pytest.mark.skipif(missing, reason=fault or "it runs here")


needs_program = _needs(_missing())
needs_lilypond = _needs(_missing() or box.fault())


@pytest.fixture(autouse=True)
def own_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CORPUSREG_HOME", str(tmp_path / "home"))
    monkeypatch.delenv("CORPUSREG_TRUST", raising=False)


def write(folder: Path, text: str, name: str = "piece.ly") -> Path:
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def pitches(score: Score, part: int = 0) -> list[int]:
    notes = score.notes[score.notes["part"] == part]
    order = notes[["onset", "pitch"]].argsort(order=("onset", "pitch"))
    return [int(pitch) for pitch in notes["pitch"][order]]


SONG = r"""
\version "2.18.2"
\header { title = "Lantern" composer = "Nobody" }
tune = \relative c' {
  \time 3/4 \partial 4 \tempo 4 = 90 g'4\p |
  \repeat volta 2 { c4-. d e~ | e2 f4\< }
  \alternative { { g2.\f } { c,2. } }
  \acciaccatura d8 c2. \bar "|."
}
\score {
  <<
    \new Staff \with { instrumentName = "Clarinet" midiInstrument = "clarinet" }
      { \transposition bes \tune }
    \new PianoStaff \with { instrumentName = "Piano" } <<
      \new Staff { \partial 4 r4 | \repeat percent 2 { c''2. } | R2.*3 }
      \new Staff { \clef bass \partial 4 r4 | <c e>2.\sustainOn | c2.\sustainOff | R2.*3 }
    >>
  >>
  \header { piece = "Evening" }
  \layout { }
  \midi { }
}
\score { { c'1 } \midi { } }
"""


@needs_lilypond
def test_everything_on_the_page_is_read(tmp_path: Path) -> None:
    (score,) = read_file(write(tmp_path, SONG)).scores
    assert score.format == "lilypond" and score.number == ""
    assert (score.metadata["title"], score.metadata["movement"]) == ("Lantern", "Evening")
    assert [(part.name, part.staves, part.program) for part in score.parts] == [
        ("Clarinet", 1, 71),
        ("Piano", 2, None),
    ]
    # Written g' c'' d'' e'' ... for a clarinet in B flat: a tone lower.
    heads = [67, 72, 74, 76, 76, 77, 79, 72, 74, 72]
    assert sorted(pitches(score)) == sorted(pitch - 2 for pitch in heads)
    assert pitches(score, 1) == [48, 52, 72, 48, 72]
    assert score.bars.labels == ("0", "1", "2", "3", "4", "5")
    assert score.bars.length.tolist() == [score.ticks] + [3 * score.ticks] * 5
    assert score.bars.endings == ((), (), (), (1,), (2,), ())
    assert score.bars.repeat_end.tolist() == [0, 0, 0, 2, 0, 0]
    assert score.bars.repeat_start.tolist() == [False, True, False, False, False, False]
    notes = score.notes
    assert int(notes["grace"].sum()) == 1 and not notes["duration"][notes["grace"]].any()
    assert int(notes["tie_in"].sum()) == int(notes["tie_out"].sum()) == 1
    assert int(notes["staccato"].sum()) == 1
    assert [(t.tick, t.quarters_per_minute) for t in score.tempos] == [(0, 90.0)]
    signs = [(d.kind, d.mark, d.tick // score.ticks) for d in score.dynamics]
    assert signs == [("mark", "p", 0), ("cresc", "", 6), ("mark", "f", 7)]
    (pedal,) = score.pedals
    assert (pedal.part, pedal.start, pedal.end) == (1, score.ticks, 4 * score.ticks)
    assert len(perform(score).bars) == 8


@needs_lilypond
def test_several_scores_are_several_works_and_old_versions_are_converted(
    tmp_path: Path,
) -> None:
    # In 2.10 one wrote \times for tuplets and #(set-octavation 1) for an ottava line.
    old = r"""\version "2.10.0"
    \score { { \times 2/3 { c'4 d' e' } f'2 #(set-octavation 1) g''1 } \layout { } }
    \score { \new Staff { b'1 } \layout { } }"""
    first, second = read_file(write(tmp_path, old)).scores
    assert (first.number, second.number) == ("1", "2")
    assert pitches(first) == [60, 62, 64, 65, 79]  # the ottava line changes no pitch
    assert first.notes["duration"].tolist()[:3] == [2 * first.ticks // 3] * 3
    assert pitches(second) == [71]


@needs_lilypond
def test_files_that_are_included_belong_to_the_piece(tmp_path: Path) -> None:
    write(tmp_path, r"\version" + ' "2.24.0"\ntune = { c\'1 }', "set/notes/tune.ily")
    main = write(
        tmp_path,
        '\\version "2.24.0" \\include "english.ly" \\include "../notes/tune.ily" '
        "{ \\tune bf'1 }",
        "set/score/main.ly",
    )
    (score,) = read_file(main).scores
    assert pitches(score) == [60, 70]
    with pytest.raises(ReadError, match="prints no music from it by itself"):
        read_file(write(tmp_path, '\\version "2.24.0" x = 1', "fragment.ly"))


@needs_lilypond
def test_a_score_can_neither_start_a_command_nor_read_outside_nor_reach_the_network(
    tmp_path: Path,
) -> None:
    secret = write(tmp_path, "secret words", "elsewhere/secret.txt")
    trace = tmp_path / "trace"
    text = rf"""\version "2.24.0"
    #(false-if-exception (system "touch {trace}; touch /usr/trace; cat {secret} > stolen"))
    #(define stolen (or (false-if-exception
        (call-with-input-file "{secret}" (lambda (port) (read port)))) 'nothing))
    #(define home (if (file-exists? "{tmp_path}") "seen" "hidden"))
    #(define net (or (false-if-exception (call-with-input-file "/proc/net/route"
        (lambda (port) (read port) (string-count (get-string-all port) #\newline)))) "?"))
    \header {{ title = #(format #f "~a ~a ~a" stolen home
        (if (file-exists? "/etc/passwd") "accounts" "no accounts")) }}
    #(use-modules (ice-9 textual-ports))
    {{ c'1 }}"""
    (score,) = read_file(write(tmp_path, text, "score/bad.ly")).scores
    assert score.metadata["title"] == "nothing hidden no accounts"
    assert not trace.exists() and not Path("/usr/trace").exists()
    assert sorted(path.name for path in (tmp_path / "score").iterdir()) == ["bad.ly"]


@pytest.mark.parametrize("way", ["absolute", "above"])
def test_a_file_outside_does_not_belong_to_the_piece(tmp_path: Path, way: str) -> None:
    secret = write(tmp_path, "secret = 1", "secret.ly")
    name = str(secret) if way == "absolute" else "../../../secret.ly"
    found = gather(write(tmp_path, f'\\include "{name}" {{ c\'1 }}', "a/b/c/piece.ly"))
    assert "secret = 1" not in found.texts.values()
    assert [Path(each).name for each in found.refused] == ["secret.ly"]


@needs_lilypond
def test_a_file_outside_is_not_included_and_this_is_told(tmp_path: Path) -> None:
    write(tmp_path, "secret = 1", "secret.ly")
    text = '\\version "2.24.0" \\include "../../../secret.ly" { c\'1 }'
    with pytest.raises(ReadError, match=r"secret\.ly, which lies outside the score's folder"):
        read_file(write(tmp_path, text, "a/b/c/piece.ly"))


@needs_lilypond
def test_what_never_ends_or_devours_memory_is_stopped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(box, "CPU_SECONDS", 2)
    endless = write(tmp_path, '\\version "2.24.0" #(let loop () (loop)) { c1 }')
    with pytest.raises(ReadError, match="took too long"):
        read_file(endless)
    assert not list((tmp_path / "home").rglob("*.json.gz"))  # it may be asked again
    hungry = '\\version "2.24.0" #(make-vector (expt 10 10) 0) { c1 }'
    with pytest.raises(ReadError, match=r"LilyPond (stopped|finds an error)|took too long"):
        read_file(write(tmp_path, hungry, "hungry.ly"))


def escape(tmp_path: Path, scheme: str) -> tuple[str, str]:
    """The title that a score finds by some Scheme, and the error where it is not read."""
    text = rf"""\version "2.24.0"
    #(use-modules (ice-9 textual-ports) (system foreign))
    #(define (shown path) (or (false-if-exception
        (call-with-input-file path get-string-all)) "nothing"))
    #(define (call name . numbers) (or (false-if-exception
        (apply (pointer->procedure int (dynamic-func name (dynamic-link))
                 (map (lambda (_) long) numbers)) numbers)) -2))
    \header {{ title = #(format #f "~a" {scheme}) }}
    {{ c'1 }}"""
    try:
        (score,) = read_file(write(tmp_path, text, "score/bad.ly")).scores
    except ReadError as error:
        return "", str(error)
    return score.metadata["title"], ""


_PLACES = (
    "/proc/sys/kernel/core_pattern", "/proc/sysrq-trigger", "/proc/self/oom_score_adj",
    "/usr/x", "/x", "/dev/shm/x", "/work/x", "/work/score/bad.ly",
)  # fmt: skip
# What one score tries, in this order; {secret} is a file of the user's.
TRIES = {
    "links": """(begin (for-each (lambda (place)
        (false-if-exception (delete-file place))
        (false-if-exception (symlink "{secret}" place)))
        '("/work/events.tsv" "/tmp/events.tsv" "./events.tsv")) 'linked)""",
    "prints": """(begin (display "secret words\\n") 'printed)""",
    "fork": '(call "fork")',
    "vfork": '(call "vfork")',
    "getppid": '(call "getppid")',
    "forked": "(false-if-exception (primitive-fork))",
    "command": """(begin (false-if-exception (system "touch /tmp/x"))
        (file-exists? "/tmp/x"))""",
    "calls": """(list (call "unshare" #x10000000) (call "shmget" 0 1000000 #o1600)
        (call "socket" 2 1 0) (call "ptrace" 16 1 0 0))""",
    "settings": f"""(map (lambda (path)
        (if (false-if-exception (open-file path "a")) path 'closed))
        '({" ".join(f'"{place}"' for place in _PLACES)}))""",
    "environment": """(list (getenv "TOKEN")
        (string-contains (shown "/proc/1/environ") "secret")
        (string-contains (shown "/proc/self/environ") "secret"))""",
    "disk": """(let ((chunk (make-string 1000000 #\\a)) (done 0))
        (for-each (lambda (folder)
          (for-each (lambda (i) (false-if-exception
            (call-with-output-file (format #f "~a/big~a" folder i) (lambda (port)
              (do ((n 0 (1+ n))) ((= n 30)) (display chunk port) (force-output port)
                (set! done (1+ done)))))))
            (iota 5)))
          '("/tmp" "/" "/dev/shm" "/dev" "/work" "/work/score" "/usr" "/var/tmp"))
        done)""",
}


@pytest.fixture(scope="module")
def tried(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """What came of each try of one score, by name; 'kept': what is kept of its run."""
    folder = tmp_path_factory.mktemp("tries")
    secret = write(folder, "score\tlayout\nsecret words\nend\n", "elsewhere/secret.txt")
    tries = [
        f'(format #f "~a" {scheme.replace("{secret}", str(secret))})'
        for scheme in TRIES.values()
    ]
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("CORPUSREG_HOME", str(folder / "home"))
        patch.setenv("TOKEN", "secret words")
        title, error = escape(folder, f'(string-join (list {" ".join(tries)}) "|")')
    assert not error
    kept = b"".join(map(gzip.decompress, map(Path.read_bytes, folder.rglob("*.json.gz"))))
    return dict(zip(TRIES, title.split("|"), strict=True)) | {"kept": kept.decode()}


@needs_lilypond
def test_a_link_in_place_of_the_output_leads_nowhere(tried: dict[str, str]) -> None:
    # What is merely printed does no harm.
    assert (tried["links"], tried["prints"]) == ("linked", "printed")
    assert tried["kept"] and "secret words" not in tried["kept"]


@needs_lilypond
def test_a_score_starts_no_process_and_runs_no_command(tried: dict[str, str]) -> None:
    # The last one shows that calls are made at all.
    assert [tried[name] == "-1" for name in ("fork", "vfork", "getppid")] == [True, True, False]
    assert (tried["forked"], tried["command"]) == ("#f", "#f")


@needs_lilypond
def test_a_score_makes_no_second_memory_and_no_connection(tried: dict[str, str]) -> None:
    assert tried["calls"] == "(-1 -1 -1 -1)"


@needs_lilypond
def test_files_of_a_score_are_bounded_in_total(tried: dict[str, str]) -> None:
    assert 0 < int(tried["disk"]) * 1_000_000 <= box.DISK


@needs_lilypond
def test_the_systems_own_settings_cannot_be_written(tried: dict[str, str]) -> None:
    assert tried["settings"] == "(" + " ".join(["closed"] * len(_PLACES)) + ")"


@needs_lilypond
def test_a_score_sees_nothing_of_the_users_environment(tried: dict[str, str]) -> None:
    assert tried["environment"] == "(#f #f #f)"


@needs_lilypond
def test_what_a_score_writes_among_the_events_is_refused_and_not_repeated(
    tmp_path: Path,
) -> None:
    _, error = escape(tmp_path, '(begin (display "secret words\\n" crg-port) "written")')
    assert f"{tmp_path}/score/bad.ly: LilyPond's account of it cannot be read" in error
    assert "secret" not in error


@pytest.mark.parametrize("line", ["note\t0\t0\t0\t1\t1e999999999\t0", "tie\t5\t9", "words"])
def test_lines_of_another_form_are_refused_and_not_repeated(line: str) -> None:
    with pytest.raises(ReadError, match="account of it cannot be read") as told:
        parse(f"score\tlayout\ncontext\t0\t-1\tStaff\t\n{line}\nend")
    assert line not in str(told.value)


@needs_lilypond
def test_output_without_end_is_stopped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(box, "MOST_OUTPUT", 1_000_000)
    _, error = escape(tmp_path, "(let loop () (display 'word crg-port) (loop))")
    assert "prints without end" in error


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="the box is Linux's")
@pytest.mark.parametrize(
    "gap, told",
    [
        ("--remount-ro /", "/x can be written"),
        ("--remount-ro /dev", "/dev/x can be written"),
        ("--seccomp", "system calls are not filtered"),
        ("--size", "the disk has no bound"),
        ("--unshare-all", "the network is visible"),
        ("hidden", "files outside are visible"),
    ],
)
def test_the_trial_finds_a_gap_in_the_box(
    gap: str, told: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    walls = box._walls

    def without(*given: object) -> list[str]:
        words = " ".join(walls(*given))  # type: ignore[arg-type]
        if gap == "hidden":
            return re.sub(r"--size \d+ --tmpfs /tmp", "--bind /tmp /tmp", words).split()
        if gap == "--unshare-all":
            return words.replace(gap, "--unshare-user --unshare-pid").split()
        if gap in ("--seccomp", "--size"):
            return re.sub(rf"{gap} \d+ ", "", words).split()
        return words.replace(f"{gap} --", "--").split()

    monkeypatch.setattr(box, "_walls", without)
    box.fault.cache_clear()
    try:
        assert told in box.fault()
    finally:
        box.fault.cache_clear()


@needs_lilypond
def test_what_an_older_box_left_behind_is_removed(tmp_path: Path) -> None:
    old = write(tmp_path, "of an older box", "home/lilypond-cache/0123.json.gz")
    read_file(write(tmp_path, '\\version "2.24.0" { c\'1 }'))
    assert not old.exists() and len(list((tmp_path / "home").rglob("*.json.gz"))) == 1


@needs_lilypond
def test_an_error_is_told_with_its_file_and_line(tmp_path: Path) -> None:
    with pytest.raises(
        ReadError, match=r"piece\.ly: .*finds an error: .*\(piece\.ly, line 2\)"
    ):
        read_file(write(tmp_path, '\\version "2.24.0"\n{ c1 \\nosuchthing }'))


@needs_lilypond
def test_a_pitch_that_nobody_plays_is_a_reading_error(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match="a note of pitch 132"):
        from corpusreg.score.readers import read_scores

        read_scores(write(tmp_path, "\\version \"2.24.0\" { c'''''''1 }"))


@needs_lilypond
def test_a_source_is_run_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path, '\\version "2.24.0" { c\'1 }')
    read_file(path)
    (kept,) = (tmp_path / "home" / "lilypond-cache").rglob("*.gz")
    runs: list[object] = []
    monkeypatch.setattr(program, "_run", lambda sources, *, mend: runs.append(sources))
    (score,) = read_file(path).scores
    assert pitches(score) == [60] and not runs
    monkeypatch.undo()
    monkeypatch.setenv("CORPUSREG_HOME", str(tmp_path / "home"))
    kept.write_bytes(b"damaged")
    assert len(read_file(path).scores) == 1
    write(tmp_path, '\\version "2.24.0" { d\'1 }')
    assert pitches(read_file(path).scores[0]) == [62]
    monkeypatch.setenv("CORPUSREG_LILYPOND_CACHE", str(path))  # a file: nothing is kept
    write(tmp_path, '\\version "2.24.0" { e\'1 }')
    assert pitches(read_file(path).scores[0]) == [64]


def test_without_a_sandbox_nothing_runs_unless_it_is_trusted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write(tmp_path, '\\version "2.24.0" { c\'1 }')
    monkeypatch.setattr(program, "executable", lambda: Path("/nowhere/lilypond"))
    monkeypatch.setattr(box, "fault", lambda: "bubblewrap is not installed")
    monkeypatch.setattr(box, "run", lambda *given, **more: pytest.fail("it was run"))
    program.version.cache_clear()
    with pytest.raises(ReadError, match=r"a LilyPond source is a program.*--trust") as told:
        read_file(path)
    assert "\n" not in str(told.value)
    seen: list[bool] = []

    def ran(command: list[str], *given: object, boxed: bool, alone: bool = True) -> box.Ran:
        seen.append(boxed)
        return box.Ran(0, "", b"GNU LilyPond 2.25.12\n" if "--version" in command else b"")

    monkeypatch.setenv("CORPUSREG_TRUST", "1")
    monkeypatch.setattr(box, "run", ran)
    with pytest.raises(ReadError, match="prints no music"):
        read_file(path)
    program.version.cache_clear()
    assert seen and not any(seen)


@needs_program
def test_a_trusted_source_is_read_without_a_sandbox(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write(tmp_path, '\\include "sung.ily" \\version "2.24.0" { \\sung }')
    write(tmp_path, "sung = { e'2 g' }", "sung.ily")
    monkeypatch.setattr(box, "fault", lambda: "bubblewrap is not installed")
    monkeypatch.setenv("CORPUSREG_TRUST", "1")
    program.version.cache_clear()
    (score,) = read_file(path).scores
    assert pitches(score) == [64, 67]


def test_trust_reaches_worker_processes(monkeypatch: pytest.MonkeyPatch) -> None:
    assert not settings.trusted()
    monkeypatch.setenv("CORPUSREG_TRUST", "0")  # so that it is put back
    settings.trust()
    assert settings.trusted() and os.environ["CORPUSREG_TRUST"] == "1"


def test_sources_are_looked_through_without_comments(tmp_path: Path) -> None:
    text = '\\version "2.18" % \\include "no.ly"\n%{ \\include "no2.ly" %} \\include "a.ily"'
    assert included(text) == ["a.ily"] and version_of(text) == (2, 18, 0)
    assert plain('"100 % sure" c4') == '"100 % sure" c4'
    write(tmp_path, '\\include "piece.ly"', "a.ily")  # a circle
    found = gather(write(tmp_path, text))
    assert set(found.texts) == {"piece.ly", "a.ily"} and found.main == "piece.ly"


def _heard(*lines: str) -> Score:
    (heard,) = parse("\n".join(("score\tlayout", *lines, "end")))
    return score_of(heard, "", 0)


def test_staves_of_one_player_and_of_two() -> None:
    def staves(kind: str, first: str, second: str) -> list[tuple[str, int]]:
        score = _heard(
            f"context\t0\t-1\t{kind}\tg", "context\t1\t0\tStaff\ta", f"name\t1\t0\t{first}\t\t",
            "context\t2\t0\tStaff\tb", f"name\t2\t0\t{second}\t\t",
            "note\t0\t0\t0\t1\t0\t1", "note\t1\t0\t0\t1\t0\t2", "step\t0\t0\t1\t1\t4/4",
        )  # fmt: skip
        return [(part.name, part.staves) for part in score.parts]

    assert staves("PianoStaff", "", "") == [("", 2)]
    assert staves("PianoStaff", "right", "left") == [("", 2)]
    assert staves("GrandStaff", "Violin I", "Violin II") == [("Violin I", 1), ("Violin II", 1)]
    assert staves("ChoirStaff", "", "") == [("", 1), ("", 1)]


def test_cues_and_tablature_are_left_out_and_counted() -> None:
    score = _heard(
        "context\t0\t-1\tStaff\t", "context\t1\t0\tVoice\t", "context\t2\t0\tCueVoice\t",
        "context\t3\t-1\tTabStaff\t", "note\t0\t0\t0\t1\t0\t1", "note\t1\t0\t0\t1\t0\t2",
        "note\t2\t0\t0\t1\t0\t3", "other\t1", "step\t0\t0\t1\t1\t4/4",
    )  # fmt: skip
    assert len(score.notes) == 1
    assert score.left_out == {
        "cue": 1, "unpitched": 1, "tablature of notes that are written too": 1
    }  # fmt: skip


@needs_lilypond
def test_da_capo_and_fine_are_followed(tmp_path: Path) -> None:
    text = r"""\version "2.24.0"
    { c'1 | d'1 \mark "Fine" | e'1 | f'1^"dolce" \mark \markup \italic "D.C. al Fine" }"""
    (score,) = read_file(write(tmp_path, text)).scores
    assert [sorted(names) for names in score.bars.marks] == [[], ["fine"], [], ["dacapo"]]
    pitch = perform(score).notes.pitch.tolist()
    assert pitch == [60, 62, 64, 65, 60, 62]


def test_old_words_are_said_anew() -> None:
    texts = {
        "a.ly": 'poet = "by "+\\who + "!"\n\\include "Notes/B.ily"',
        "notes/b.ily": "{c}",
    }
    told = mended(texts)
    assert told["a.ly"].startswith('poet = #(string-append "by " who "!")')
    assert '\\include "notes/b.ily"' in told["a.ly"] and told["notes/b.ily"] == "{c}"
    assert whole(told, "a.ly").endswith("\n{c}")


def test_files_that_variables_name_and_scheme_belong_to_the_piece(tmp_path: Path) -> None:
    write(tmp_path, "{ c'1 }", "midi.ily")
    write(tmp_path, "#(define x 1)", "x.scm")
    main = write(tmp_path, 'what = "midi.ily"\n\\include \\what\n\\include "X.scm"')
    assert set(gather(main).texts) == {"piece.ly", "midi.ily", "x.scm"}


@pytest.mark.parametrize(
    "source, outside",
    [
        ("#(gone 1)\n{ c'1 }", True),  # before all music
        ("{ \\override Stem.length = #(gone 1) c'1 }", True),
        ("{ \\tweak Stem.length #(gone 1) c'1 }", True),
        ("look = #(gone 1)", True),
        ("{ c'1 } \\paper { #(if (gone) (define system-count 12)) }", True),
        ("\\score { { c'1 } \\layout { \\context { \\Staff } #(gone 1) } }", True),
        ("\\paper { indent = 0 } { #(gone 1) c'1 }", False),
        ("{ c'1 #(gone 1) d'1 }", False),  # might have been notes
        ("{ c'1 \\transpose c #(gone 1) { d'1 } }", False),
        ('{ "}" #(gone 1) d\'1 }', False),
        ("#(gone-pitch-names 1)\n{ c'1 }", False),
    ],
)
def test_which_errors_can_have_touched_no_note(source: str, outside: bool) -> None:
    line, _, rest = source.partition("#(")
    before = line.split("\n")
    where = f"piece.ly:{len(before)}:{len(before[-1]) + 1}"
    said = (
        f"/work/score/{where}: error: Guile signaled an error for the expression beginning here"
    )
    assert rest and beside_the_music(said, {"piece.ly": source}) == outside
    other = f"piece.ly:1:1: error: unknown escaped string: `\\gone'\n{said}"
    assert not beside_the_music(other, {"piece.ly": source})


def test_another_readers_notes_decide() -> None:
    head = "context\t0\t-1\tStaff\t"
    (heard,) = parse(f"score\tlayout\n{head}\nnote\t0\t0\t0\t1\t0\t0\nend")
    assert agrees([heard], '\\version "2.24.0" { c\'1 }')
    assert not agrees([heard], '\\version "2.24.0" { d\'1 }')
    assert not agrees([heard], "\\version \"2.24.0\" { c'1 c'1 }")
    assert not agrees([], '\\version "2.24.0" { c\'1 }')


@needs_lilypond
def test_an_error_of_the_pages_look_costs_no_piece_and_is_told(tmp_path: Path) -> None:
    text = (
        '\\version "2.24.0" #(gone 1)\n\\header { poet = "by "+"hand" }\n'
        "{ c'1 \\transpose c d { \\override Stem.length = #(gone 2) e'1 } }"
    )
    (score,) = read_file(write(tmp_path, text)).scores
    assert pitches(score) == [60, 66]
    assert any("Guile signaled an error" in said for said in score.assumed)
    lost = "\\version \"2.24.0\" { c'1 #(gone (make-music 'SequentialMusic)) d'1 \\nothing }"
    with pytest.raises(ReadError, match="finds an error") as told:
        read_file(write(tmp_path, lost, "lost.ly"))
    assert "/" not in told.value.reason and "lost.ly" not in told.value.reason


@needs_lilypond
def test_procedures_that_only_arranged_the_page_cost_no_piece(tmp_path: Path) -> None:
    text = r"""\encoding "latin1" \version "2.4.0" up = #(set-octavation 1)
    { #(override-auto-beam-setting '(end * * * *) 1 4) \up c'''1 #(set-octavation 0) d'1 }"""
    (score,) = read_file(write(tmp_path, text)).scores
    assert pitches(score) == [84, 62]


@needs_lilypond
def test_ties_with_one_end_are_no_notes_of_their_own(tmp_path: Path) -> None:
    text = "\\version \"2.24.0\" { c'2 ~ c'2 | d'1 \\repeatTie | e'1 \\laissezVibrer }"
    (score,) = read_file(write(tmp_path, text)).scores
    assert len(pitches(score)) == 4


@needs_lilypond
def test_repeats_are_unfolded_as_older_versions_said_it(tmp_path: Path) -> None:
    text = r"""\version "2.24.0" tune = { \repeat volta 2 { c'1 } }
    \score { \tune \layout { } } \score { \applyMusic #unfold-repeats \tune \midi { } }"""
    (score,) = read_file(write(tmp_path, text)).scores
    assert pitches(score) == [60]
