"""Looking back: takes are heard and logged; the way of each exercise, what is next, and a plan."""

import threading
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from starlette.responses import Response

from midiforge.calls import write_plan
from midiforge.desk.answers import Asked, get, over, post, text, upload, whole
from midiforge.desk.desk import DRILL, Desk, is_own
from midiforge.desk.handing_out import folder_of
from midiforge.desk.spoken import spoken
from midiforge.desk.work import Tell
from midiforge.drill.read import drill_in
from midiforge.errors import MidiforgeError, argument, quoted
from midiforge.files.disk import write_aside, writing
from midiforge.files.names import shortened
from midiforge.files.own_file import PLAN
from midiforge.hear.figures import of_step
from midiforge.live.recording.take_file import ENDINGS, free
from midiforge.midi.reading import parse
from midiforge.model.number import numbers_said, read_named
from midiforge.practice.course import Course
from midiforge.practice.days import day_played
from midiforge.practice.drill_file import advised_file
from midiforge.practice.entry import Entry, player_said
from midiforge.practice.good import lacks
from midiforge.practice.log import Log, log_path
from midiforge.practice.picture import svg_of
from midiforge.practice.plan import Plan
from midiforge.practice.reviewed import takes_in, when_played
from midiforge.practice.standing import Action, Advice, is_to_be_played
from midiforge.practice.steps import Steps
from midiforge.practice.words import CAUTION, advice_lines, plan_note
from midiforge.printable import many
from midiforge.session import Heard, Session

TAKES = "takes"
LARGEST_TAKE = 8 * 2**20  # bytes; one of an hour has less than one million
MOST_TAKES = 200  # at a time
_LONGEST_NAME, _LONGEST_NOTE = 80, 200  # letters
_LARGEST_NAME = 230  # bytes
_WIDEST, _NARROWEST = 1200, 280  # px, of a picture
_MOST_ROWS = 200  # of a table, the last
_alone = threading.Lock()


# Takes


def takes_folder(desk: Desk, drill: str) -> Path:
    """Where the takes of a drill are kept; MidiforgeError if that is elsewhere."""
    return desk.path(desk.name_of(folder_of(desk, drill) / TAKES))


def _take(desk: Desk, asked: Asked, content: bytes) -> dict[str, Any]:
    """Keeps a take beside its drill, under a name of its own; the same one once."""
    name, folder = text(asked, "name"), takes_folder(desk, text(asked, "drill"))
    path = folder / _take_name(name)
    if len(content) > LARGEST_TAKE:
        hint = f"up to {LARGEST_TAKE // 2**20} MB"
        raise MidiforgeError("the file is too large for a take", name, hint=hint)
    try:
        parse(content)
    except MidiforgeError as error:
        raise MidiforgeError(error.what, name, hint=error.hint) from None
    with _alone, writing(folder):
        folder.mkdir(parents=True, exist_ok=True)
        for there in _takes(folder):
            if there.stat().st_size == len(content) and there.read_bytes() == content:
                return {"take": there.name}
        path = free(path)
        write_aside(path, content)
    return {"take": path.name}


def _take_name(name: str) -> str:
    """A name as every file system takes it, with all that may say when the take was played."""
    path = Path(name.replace("\\", "/"))
    ending = path.suffix.lower() if path.suffix.lower() in ENDINGS else ""
    stem = path.stem if ending else path.name
    letters = (each if each.isalnum() or each in " ,-+&()'_.:" else " " for each in stem)
    words = " ".join("".join(letters).replace(":", "-").split()).strip(". ")
    name = shortened(words, _LONGEST_NAME, _LARGEST_NAME).strip(". ")
    return f"{name or 'take'}{ending or ENDINGS[0]}"


def _takes(folder: Path) -> list[Path]:
    if not folder.is_dir():
        return []
    try:
        return [path for path in takes_in([folder]) if is_own(path)]
    except MidiforgeError:  # there is nothing in it
        return []


def _review(desk: Desk, asked: Asked) -> dict[str, Any]:
    """Takes that are kept are heard and logged, in a process of its own."""
    drill, names = text(asked, "drill"), asked.get("takes")
    folder = takes_folder(desk, drill)
    if not isinstance(names, list) or not 0 < len(names) <= MOST_TAKES:
        raise MidiforgeError(f"1 to {MOST_TAKES} takes can be heard at a time")
    there = {path.name: path for path in _takes(folder)}
    for name in names:
        if name not in there:
            raise MidiforgeError(f"there is no take {quoted(name)}")
    sheet, number, day = desk.sheet(drill), text(asked, "number").strip(), text(asked, "date")
    day_played(day)
    if number:
        with argument("number"):
            _ = sheet.lesson[str(read_named(number))]
    told = {
        "text": sheet.file.text,
        "path": str(sheet.file.path),
        "takes": [str(there[name]) for name in names],
        "number": number,
        "date": day,
        "note": " ".join(text(asked, "note").split())[:_LONGEST_NOTE],
        "player": text(asked, "player"),
        "log": desk.log,
    }
    title = names[0] if len(names) == 1 else many(len(names), "take")
    job = desk.reviewing.begin(drill, title, review, told, counts="takes")
    return {"number": job.number, **_reviews(desk, asked)}


def review(asked: Mapping[str, Any], tell: Tell) -> dict[str, Any]:
    """Hears takes and logs them, in whatever process: the review of one, or the day's of many, as
    a page, and what it says in a line."""
    drill = drill_in(asked["text"], Path(asked["path"]))
    session = Session(drill, asked["log"], asked["player"], flags=False)
    day, heard, kept = day_played(asked["date"]), list[Heard](), 0
    count = len(asked["takes"])
    if count == 1:
        return _one(session, asked, day, tell)
    for take in session.review_all(asked["takes"], asked["number"], None, asked["note"], day):
        kept += session.keep_heard(take, keeps_day=day is None)
        heard.append(take)
        tell(len(heard), count)
    from midiforge.report.day import page

    told = session.page_of(heard)
    whose = f" of {session.player}" if session.player else ""
    return {
        "page": spoken(page(told)),
        "said": told.summary,
        "logged": f"In the log{whose}: {many(kept, 'take')}.",
    }


def _one(
    session: Session, asked: Mapping[str, Any], day: date | None, tell: Tell
) -> dict[str, Any]:
    from midiforge.report.html import page
    from midiforge.report.sentence import sentences

    [take] = asked["takes"]
    found = session.review(take, asked["number"])
    step = session.next_step(found, take, asked["note"], day)
    verdict = session.verdict(found, take)
    if session.keep(found, take, asked["note"], day):
        whose = f" of {session.player}" if session.player else ""
        played = when_played(take, found.review.played, day)
        logged = f"In the log{whose}, as played {played.said}."
    elif found.known.unsure:
        logged = "Not kept in the log: say which exercise it is."
    else:
        logged = "Not kept in the log: its figures would say nothing of this exercise."
    tell(1, 1)
    return {
        "page": spoken(page(found.review, found.known, step, verdict)),
        "said": spoken(sentences(found.review, found.known)[0]),
        "logged": logged,
    }


def _reviews(desk: Desk, asked: Asked) -> dict[str, Any]:
    """What is being heard, and what came of it but for the pages."""
    jobs = desk.reviewing.jobs(text(asked, "drill"))
    given = [{**job.given, "page": ""} if job.given else None for job in jobs]
    told = [{**job.told(), "given": said} for job, said in zip(jobs, given, strict=True)]
    return {"jobs": told}


def _review_page(desk: Desk, asked: Asked) -> dict[str, Any]:
    job = desk.reviewing.job(whole(asked, "number"))
    if not job.given:
        raise MidiforgeError("that is not heard yet")
    return {"title": job.title, **job.given}


def _session(desk: Desk, asked: Asked) -> Session:
    """A session of whoever is chosen; a log that was named need not be there yet."""
    session = desk.session(text(asked, "drill"), text(asked, "player", desk.player))
    if desk.log and not Log(log_path(desk.log)).exists():
        session.log = None
    return session


def _way(desk: Desk, asked: Asked) -> dict[str, Any]:
    """Where somebody is with each exercise of a drill, and what comes next."""
    session = _session(desk, asked)
    players = dict.fromkeys((session.player, *session.players(), desk.player, ""))
    advised = session.advise()
    now = [advice for advice in advised if advice.action is not Action.LATER]
    count = sum(len(advice.group.takes) for advice in advised)
    takes = f"{many(count, 'take')} of {player_said(session.player)} in the log"
    folder = takes_folder(desk, text(asked, "drill"))
    return {
        "player": session.player,
        "players": [{"name": name, "said": player_said(name)} for name in sorted(players)],
        "said": f"{many(len(advised), 'exercise')}, {takes}",
        "next": [[*line] for line in advice_lines(advised)],
        "taken_up": [a.group.key if is_to_be_played(a) else "" for a in now],
        "caution": CAUTION,
        "ways": [_told(advice, session) for advice in advised if advice.group.takes],
        "takes": [path.name for path in _takes(folder)][-MOST_TAKES:],
        "largest": LARGEST_TAKE,
    }


def _told(advice: Advice, session: Session) -> dict[str, Any]:
    entries = advice.group.takes
    return {
        "key": advice.group.key,
        "title": f"{numbers_said(advice.group.numbers)}. {advice.group.title}",
        "goal": float(Steps.of(session.drill).goal),
        "count": len(entries),
        "takes": [_row(entry, session) for entry in reversed(entries[-_MOST_ROWS:])],
    }


def _row(entry: Entry, session: Session) -> dict[str, Any]:
    lacking = "; ".join(lack.said for lack in lacks(entry, session.drill.practice))
    return {
        "day": entry.day.isoformat(),
        "tempo": f"{entry.tempo:g}",
        "clean": f"{entry.clean:.0%}",
        "steady": of_step(entry.deviation_percent),
        "good": "good" if not lacking else f"not yet: {lacking}",
        "note": entry.note,
        "take": entry.source,
    }


def _picture(desk: Desk, asked: Asked) -> Response:
    """The way of one exercise, as SVG."""
    session, key = _session(desk, asked), text(asked, "key")
    wide = min(max(whole(asked, "wide"), _NARROWEST), _WIDEST)
    entries = next((a.group.takes for a in session.advise() if a.group.key == key), ())
    if not entries:
        raise MidiforgeError("the log has no take of this exercise")
    goal = float(Steps.of(session.drill).goal)
    drawn = svg_of(Course(key, entries), session.drill.practice, goal, wide)
    return Response(drawn, media_type="image/svg+xml")


def _taken_up(desk: Desk, asked: Asked) -> dict[str, Any]:
    """One exercise, as it is advised, as a drill beside its own, which can be heard and played."""
    session, key = _session(desk, asked), text(asked, "key")
    advice = next((a for a in session.advise() if a.group.key == key), None)
    if advice is None:
        raise MidiforgeError("the lesson has no such exercise", hint="it has been changed since")
    beside = desk.path(text(asked, "drill"))
    number, day = numbers_said(advice.group.numbers), date.today()
    path = _named_beside(beside, f"{number} {day}")
    made = advised_file(advice, session.drill, day, path.parent)
    try:
        PLAN.check(path)
    except MidiforgeError:  # it was worked on since
        path = free(path)
    PLAN.write(path, made)
    return {"drill": desk.name_of(path)}


def _named_beside(drill: Path, words: str) -> Path:
    """A drill beside another, called by it and these words, as far as a file's name goes."""
    behind = shortened(words, _LONGEST_NOTE, _LARGEST_NAME // 2)
    size = _LARGEST_NAME - len(behind.encode())
    return drill.with_name(f"{shortened(drill.stem, size, size)} {behind}{DRILL}")


# A plan


def _made_plan(desk: Desk, asked: Asked) -> tuple[Session, Plan]:
    session = _session(desk, asked)
    return session, session.plan(whole(asked, "minutes"))


def _plan(desk: Desk, asked: Asked) -> dict[str, Any]:
    """Minutes of practice, as a teacher would write them down."""
    session, plan = _made_plan(desk, asked)
    who = f", for {session.player}" if session.player else ""
    return {
        "title": f"{plan.drill.title}: {plan.minutes} minutes on {plan.day.isoformat()}{who}",
        "lines": [[at, said, [*exercises]] for at, said, exercises in plan_note(plan)],
        "caution": CAUTION,
        "is_playable": bool(plan.turns),
    }


def _kept_plan(desk: Desk, asked: Asked) -> dict[str, Any]:
    """The same as a drill beside its own, which can be practised."""
    session, plan = _made_plan(desk, asked)
    drill = desk.path(text(asked, "drill"))
    who = f" {_take_name(session.player).removesuffix(ENDINGS[0])}" if session.player else ""
    path = _named_beside(drill, f"plan {plan.day.isoformat()}{who}")
    write_plan(plan, path)
    return {"drill": desk.name_of(path)}


ROUTES = (
    upload("/api/takes", _take),
    get("/api/reviews", _reviews),
    post("/api/reviews", _review),
    *over("/api/reviews", "reviewing", _reviews),
    get("/api/review", _review_page),
    get("/api/way", _way),
    get("/api/way/picture", _picture),
    post("/api/next", _taken_up),
    get("/api/plan", _plan),
    post("/api/plan", _kept_plan),
)
