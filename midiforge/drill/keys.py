"""Every key of a drill, once: the reader, the flags, the schema and the help all read this table.

A key `a.b` is the key `b` in the table `[a]` of a file and the flag `--a-b`. Lists may be
written as one text with commas; that is how flags give them.
"""

from midiforge.keys.key import Key
from midiforge.moves import MOVES

# What a drill says, in the order a reader meets it; a heading for each group of keys.
GROUPS: dict[str, tuple[Key, ...]] = {
    "Material": (
        Key("title", "text", "What the lesson is called.", "TEXT"),
        Key(
            "text",
            "text",
            "What the student is to read, printed under the title of its pages; an empty line "
            "begins a paragraph.",
            "TEXT",
        ),
        Key(
            "texts",
            "table",
            "What is to be read under single exercises, by number without running: 3, '5-8'.",
        ),
        Key(
            "sticking",
            "texts",
            "Stickings, typed (RLRR LRLL) or by rudiment name.",
            "STICKING",
            names="rudiments",
        ),
        Key("every.strokes", "whole", "Every sticking of this many strokes.", "N"),
        Key("every.longest_run", "whole", "... with at most this many of one hand in a row.", "N"),
        Key("every.looped", "yes-no", "... runs counted across the seam too.", default=True),
        Key("every.starts", "text", "... that start with this hand.", "R|L", choices=("R", "L")),
        Key("every.balanced", "yes-no", "... that use both hands equally.", default=False),
        Key(
            "every.up_to",
            "texts",
            "... only one of those alike but for where they start, or which hand leads.",
            "rotation,swap",
            choices=("rotation", "swap"),
        ),
    ),
    "Moves": tuple(key for move in MOVES for key in move.keys),
    "Feet and time layers": (
        Key(
            "feet",
            "texts",
            "What the feet repeat: ostinatos by name, by count ('1a 2&') or on a grid; with "
            "'on LF' and 'as cowbell' moved to another limb or voice; 'none' for nothing.",
            "OSTINATO",
            names="ostinatos",
            counted=True,
        ),
        Key(
            "partner",
            "text",
            "The ostinato beside a foot pattern: its usual one, none, or another.",
            "usual|none|OSTINATO",
            default="usual",
            names="ostinatos",
        ),
        Key(
            "layers",
            "texts",
            "Time layers beside the player, such as a clave; 'on RH' gives one to a limb.",
            "OSTINATO",
            names="ostinatos",
            counted=True,
        ),
        Key(
            "road_map",
            "text",
            "The order in which the bars of [bars] are played, by name; + lays one over another.",
            "'3 A, fill'|'2 (A A B)'|'A+crash'",
        ),
        Key(
            "bars",
            "table",
            "Bars written out, by name: a line for each limb and voice, 'RH ride x.x. x.x.'.",
        ),
    ),
    "Play-along": (
        Key(
            "chords",
            "text",
            "Chord symbols for a bass and a chord instrument, bars divided by |; % repeats a bar.",
            "'Dm7 | G7 | Cmaj7 | %'",
        ),
        Key(
            "style",
            "text",
            "How the band plays, and who is in it; usually after the feet.",
            "STYLE",
            names="styles",
        ),
        Key(
            "percussion",
            "texts",
            "The band's percussion: the style's usual parts, none, or parts and "
            "ostinatos by name, each 'at 70%' of its level if said.",
            "usual|none|'clave, congas at 70%'",
            default="usual",
            names="percussion",
        ),
        Key(
            "clave",
            "text",
            "Which way round the clave goes, for all that lean on it.",
            "3-2|2-3",
            choices=("", "3-2", "2-3"),
        ),
        Key(
            "vary",
            "whole",
            "Percussion varies the last time in every so many bars; 0 for never.",
            "BARS",
            default=4,
        ),
        Key(
            "bass",
            "text",
            "Who plays the bass: the style's usual instrument, none, or another; 'at 80%' too.",
            "usual|none|INSTRUMENT",
            default="usual",
            names="basses",
        ),
        Key(
            "comp",
            "text",
            "Who plays the chords, likewise.",
            "usual|none|INSTRUMENT",
            default="usual",
            names="comps",
        ),
    ),
    "Time": (
        Key("meter", "text", "The meter.", "4/4", default="4/4"),
        Key(
            "pulse",
            "text",
            "The note a tempo counts, if not the beat.",
            "quarter|'dotted quarter'|...",
        ),
        Key(
            "steps",
            "texts",
            "Grid steps to a beat, 1 to 12; several put the same sticking on several grids.",
            "N,N",
        ),
        Key("swing", "text", "Long to short of each pair of notes.", "2:1", default="1:1"),
        Key(
            "swing_pair",
            "text",
            "The notes that swing; in compound meters sixteenths are usual, else eighths.",
            "eighth|sixteenth",
            choices=("", "eighth", "sixteenth"),
        ),
        Key(
            "tempos",
            "texts",
            "Tempos: a list, or a ladder.",
            "72,92|'60 to 100 by 10'",
            default="80",
        ),
        Key(
            "ramp",
            "text",
            "One exercise that gets faster, instead of one for each tempo.",
            "'60 to 100 by 4 every 2 bars'",
        ),
        Key("count_in", "whole", "Bars of count-in.", "BARS", default=1),
        Key(
            "click",
            "text",
            "When the click sounds.",
            "throughout|count-in|off",
            default="throughout",
            choices=("throughout", "count-in", "off"),
        ),
        Key(
            "click_voice",
            "text",
            "The click's voice, if not one chosen for you.",
            "VOICE",
            names="voices",
        ),
        Key("gap", "text", "Bars with the click, then without.", "'2 on 2 off'"),
        Key("repeats", "whole", "How often each exercise goes round.", "N", default=1),
    ),
    "Stages": (
        Key(
            "dynamics",
            "text",
            "A change of level.",
            "'crescendo over 4 bars'|'soft repeat'",
        ),
        Key("stages", "texts", "Stages, in order.", "feet,hands,full"),
        Key("stage", "table", "A stage of your own: [stage.NAME]."),
        Key(
            "form",
            "text",
            "Bars of timekeeping and of the exercise, or call and response.",
            "'3 time 1 exercise'|'2 call 2 response'",
        ),
        Key(
            "groove", "texts", "What the hands play in bars of time.", "OSTINATO", names="ostinatos"
        ),
        Key(
            "voicing",
            "texts",
            "Which limb, at which strength, plays which voice; voices divided by / take turns.",
            "'RH=ride, RH accent=ride-bell'",
        ),
        Key(
            "surface",
            "text",
            "The one surface of the hands stage.",
            "VOICE",
            default="snare",
            names="voices",
        ),
    ),
    "Order": (
        Key("drop_swapped", "yes-no", "Leave out what only changes the hands over.", default=False),
        Key(
            "order",
            "text",
            "Exercises as the material is turned over, or from easy to hard.",
            "taught|easiest",
            default="taught",
            choices=("taught", "easiest"),
        ),
        Key(
            "running",
            "texts",
            "Only these exercises, in this order, by the number they have without it; each at a "
            "tempo and with repeats of its own if given. 'rest 3:00' between them is kept by play.",
            "'3b, 5 at 70 repeats 4, rest 3:00, 7-9'",
        ),
    ),
    "Writing": (
        Key(
            "writing.voices",
            "text",
            "Hands and feet written in one voice, or in two; usual: in one where they take turns.",
            "usual|one|two",
            default="usual",
            choices=("usual", "one", "two"),
        ),
        Key(
            "writing.rolls",
            "text",
            "Measured rolls as slashes through stems, or a note for every stroke.",
            "slashes|strokes",
            default="slashes",
            choices=("slashes", "strokes"),
        ),
    ),
    "Practice": (
        Key(
            "practice.clean",
            "number",
            "A take is good from this share of right strokes on.",
            "SHARE",
            default=0.95,
        ),
        Key(
            "practice.steady",
            "number",
            "... and up to this standard deviation, in per cent of a grid step.",
            "PERCENT",
            default=8,
        ),
        Key("practice.takes", "whole", "So many good takes in a row, then faster.", "N", default=2),
        Key(
            "practice.up",
            "text",
            "How much faster: per cent of the tempo, or the drill's own next tempo.",
            "5%|next",
            default="5%",
        ),
        Key("practice.days", "whole", "Review after so many days.", "DAYS", default=7),
        Key(
            "practice.goal",
            "number",
            "The tempo at which an exercise is done; the drill's fastest if not given.",
            "TEMPO",
        ),
        Key(
            "practice.first",
            "text",
            "All placements slowly and then faster together, or one after the other to the goal.",
            "placements|tempo",
            default="placements",
            choices=("placements", "tempo"),
        ),
        Key(
            "practice.mix",
            "text",
            "When plans mix exercises in short turns: once they are safe, always, or never.",
            "later|always|never",
            default="later",
            choices=("later", "always", "never"),
        ),
    ),
    "Sound": (
        Key(
            "kit",
            "text",
            "A kit's name, or the path of a kit file.",
            "KIT",
            default="general-midi-1",
            names="kits",
        ),
        Key("format", "whole", "Standard MIDI File format, 0 or 1.", "0|1", default=1),
        Key(
            "flam_ms",
            "number",
            "How long before its stroke a flam begins, in ms.",
            "MS",
            default=30,
        ),
        Key("drag_ms", "number", "How far apart a drag's notes are, in ms.", "MS", default=35),
        Key("humanise.timing", "number", "Unevenness in time, standard deviation in ms.", "MS"),
        Key("humanise.velocity", "number", "Unevenness in velocity, standard deviation.", "N"),
        Key("humanise.seed", "whole", "The same seed, the same unevenness.", "N", default=1),
    ),
}

KEYS: tuple[Key, ...] = tuple(key for group in GROUPS.values() for key in group)
BY_NAME = {key.name: key for key in KEYS}

STAGE_KEYS: tuple[Key, ...] = (
    Key("title", "text", "What it is called."),
    Key("text", "text", "What the student is to read, printed under each of its exercises."),
    Key("limbs", "texts", "Whose strokes it keeps.", "RH,LH,RF,LF"),
    Key("layers", "yes-no", "Whether it keeps the time layers.", default=False),
    Key("voicing", "texts", "Laid over the drill's voicing."),
    Key("form", "text", "As the drill's."),
    Key("groove", "texts", "As the drill's."),
)
