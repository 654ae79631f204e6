"""The fixed words in English."""

from collections.abc import Mapping
from typing import Any

from tunebook.book.fixed_words import FixedWords

ENGLISH = FixedWords(
    language="en",
    kind="keyed",
    opening_quote="“",
    decimal_sign=".",
    edited_by="Edited by {}",
    for_instrument="for {}",
    tuned="tuned {}",
    cautions_title="Before you play",
    cautions=(
        "Warm up. Begin with some minutes of slow, light playing; cold hands play badly and are "
        "easily hurt.",
        "Rest. Put the instrument down for five minutes in every half hour, let your arms hang, "
        "and gently stretch hands, shoulders and back.",
        "Stop at once when something hurts, tingles or goes numb. Pain is no part of practice. "
        "If it comes back, let a teacher look at how you sit, hold and press, and see a doctor.",
        "The fingerings are proposals. They were computed for the hand named at the end of the "
        "book; where a stretch does not suit yours, take another finger or another string. A "
        "teacher's advice goes before anything printed here.",
        "Mind your eyes when tuning. Raise a string slowly and never above the pitch it is made "
        "for: a string that breaks can hit your face. Keep your face away from the strings, and "
        "use strings meant for the pitch when you change to another tuning.",
    ),
    contents="Contents",
    contents_by_title="By title",
    front_matter="Before the tunes",
    back_matter="After the tunes",
    other_tunes="Other tunes",
    signs_title="How to read the signs",
    signs_rest="Everything else is ordinary notation: repeats, numbered endings and bowings "
    "mean what they mean elsewhere.",
    legend={
        "finger": "The figure over a note is the finger of the left hand: 1 index, 2 middle, "
        "3 ring, 4 little finger; 0 is the open string. A figure is left out where it follows "
        "from those before.",
        "string": "A small letter over the figure names the string, where the melody changes to "
        "another string and the notes do not tell.",
        "crossed": "A small cross beside the figure marks a crossed stop: two fingers at the same "
        "place in two rows, so that nothing has to jump.",
        "barre": "One finger lies flat over two rows.",
        "drone": "The small staff shows the drone that is bowed along with the melody. The figure "
        "is the finger that holds it; 0 is an open string.",
        "take_over": "A figure over a tied drone note: another finger silently takes over the key "
        "that is held.",
        "chord": "Chord symbols are for those who accompany. Minor has m, a diminished chord dim.",
        "solved_chord": "A light, slanted chord symbol is a proposal of the program for a place "
        "where the tune has none of its own; an upright one stands in the source.",
        "doubtful_chord": "A chord symbol in brackets is a suggestion that another chord could "
        "well replace.",
        "shape": "A chord shape. Each line is a string, the lowest at the bottom; a disc is a key "
        "to press with the finger named, a ring an open string. Bow from low to high.",
        "accompaniment": "The staff of accompaniment shows the chord shapes in the rhythm of the "
        "tune.",
        "beyond": "A marked bar goes beyond the limits of this edition.",
        "hard": "A marked bar is one of the hardest of its tune.",
        "changed": "A marked bar is fingered otherwise than in the former tuning.",
        "unplayable": "A note in brackets cannot be played on this instrument in this tuning: it "
        "lies outside the compass, or its tones cannot be held together.",
        "quarter_tone": "An arrow over a note with a quarter-tone's sign: the finger is that of "
        "the key next to it, and the tone is to lie a quarter-tone higher (up) or lower (down).",
    },
    foot_finger="0–4 finger",
    foot_string="small letter: string",
    foot_crossed="× crossed stop",
    foot_drone="small staff: drone and its finger",
    foot_solved="slanted chord: a proposal",
    foot_beyond="broken line: beyond this level",
    foot_hard="grey bars: the hardest",
    foot_changed="line over bars: fingered otherwise than before",
    foot_unplayable="note in brackets: not playable here",
    foot_quarter_tone="arrow: a quarter-tone off the key",
    instrument_title="The instrument",
    tuning="Tuning",
    playing_strings="Playing strings, low to high",
    sympathetic_strings="Sympathetic strings",
    sympathetic_text="One for each semitone, none of them bowed; they ring with the notes that "
    "are played. From the lowest:",
    keybox_text="The keybox, drawn to scale: the nut is at the left, the bridge far to the right, "
    "the lowest string at the bottom. Each key bears the note that it sounds.",
    fingerboard_text="The fingerboard, drawn to scale: the nut is at the left, the lowest string "
    "at the bottom. Each place bears the note that it sounds.",
    first_position="First position",
    first_position_text="The shaded keys are those under the four fingers in first position, "
    "on every row alike.",
    compass="Compass",
    key_counts="{} keys",
    no_keys="no keys: a drone",
    one_key="1 key",
    highest_note="up to {}",
    string_length="Nut to bridge",
    bow_text="The bow sounds one string or two neighbours. Three or four strings can only be "
    "broken, one pair after the other, from the lowest.",
    modes={
        "ionian": "major",
        "dorian": "dorian",
        "phrygian": "phrygian",
        "lydian": "lydian",
        "mixolydian": "mixolydian",
        "aeolian": "minor",
        "locrian": "locrian",
    },
    key_joint=" ",
    is_minor_lower=False,
    key_names={},
    note_names="b",
    note_names_text={"b": "", "h": "H is B natural, B is B flat."},
    low_string="low {}",
    no_key="no key given",
    ends_on="ends on {}",
    begins_on="the next begins on {}",
    same_key="the key stays",
    key_change="from {} to {}",
    open_string="open {}",
    key_place="{} string, key {}",
    also="Also: {}",
    part_order="order {}",
    continued="continued",
    source="Source: {}",
    practice_title="Practice pages",
    practice_text="Play every exercise slowly and lightly first, and only as fast as it stays "
    "easy. Some minutes a day do more than an hour at once. Rest between exercises, and stop "
    "when something hurts.",
    chords_title="Chords",
    chords_text="Every chord of the book, with the shapes that lie best on this instrument. The "
    "lowest string is at the bottom; a figure is a finger, a ring an open string. Shapes of three "
    "or four strings are broken, from the lowest pair up.",
    chord_in="in {}",
    index_titles="Index of titles",
    index_types="Index of tune types",
    index_keys="Index of keys and modes",
    index_techniques="Index of techniques",
    index_openings="Index of openings",
    index_openings_text="Sorted by the steps of the scale on which the tune begins: 1 is the "
    "keynote. Upbeats count.",
    no_type="Other",
    techniques={
        "crossed": "Crossed stops",
        "barre": "Barre",
        "row_jump": "Row jumps",
        "shift": "Shifts of the hand",
        "substitution": "Silent changes of finger",
        "held_drone": "Held drones",
        "open_drone": "Open drones",
        "double_stop": "Double stops",
        "above_first": "Positions above first",
        "little_finger": "Much little finger",
        "triplet": "Triplets",
        "grace": "Grace notes",
        "chord": "Chords of the source",
    },
    all_but="{}: all tunes but",
    ladder_title="From easy to hard",
    ladder_text="The tunes in order of difficulty, as computed: the effort of the left hand per "
    "second at the tempo printed. Bowing and expression do not count, so let your ear decide.",
    reason_shifts=("{} shift", "{} shifts"),
    reason_crossed=("{} crossed stop", "{} crossed stops"),
    reason_jumps=("{} row jump", "{} row jumps"),
    reason_highest="up to key {} on {}",
    reason_first="first position",
    reason_held="held drone",
    reason_barre="barre",
    sources_title="Sources",
    composer="By",
    origin="From",
    found_in="Source",
    transcribed="Transcription",
    remark="Remark",
    colophon_title="About this book",
    colophon_text="The fingerings, drones and chords were computed: of all ways to play a tune, "
    "the one printed is the easiest by a reckoning of stretches, shifts, jumps and crossed stops "
    "in the time there is. That is not the same as what a good player would choose.",
    edition="Edition",
    instrument="Instrument",
    hand="Hand",
    hand_direction=("lower finger on the higher string", "higher finger on the higher string"),
    hand_barre=("no barre", "barre allowed"),
    hand_spans="comfortable spans {} mm",
    paper="Paper",
    staff_size="Height of the staff",
    tempo="Tempo",
    tempo_text="A tempo in brackets is not from the source, but a usual one for the type of tune.",
    default_tempi="Assumed tempi",
    fonts="Fonts",
    licences={
        "text": "{} (GNU AGPL 3 with an exception for embedding in documents)",
        "fallback": "{} for what these lack (free to embed)",
        "alone": "{} (free to embed)",
        "music": "music: Emmentaler (GNU GPL 3 with a font exception, or SIL OFL 1.1)",
    },
    program="Made with",
    date="Date",
    page="page",
    names={},
)

# What is said otherwise of an instrument with a fingerboard, which has no keys.
FINGERBOARD: Mapping[str, Any] = {
    "kind": "fingerboard",
    "legend": {
        "crossed": "A small cross beside the figure marks a crossed stop: two fingers at the same "
        "place on two strings, so that no finger has to hop across.",
        "barre": "One finger stops two strings.",
        "take_over": "A figure over a tied drone note: another finger silently takes over the "
        "stopped note.",
        "shape": "A chord shape. Each line is a string, the lowest at the bottom; a disc is a "
        "place to stop with the finger named, a ring an open string. Bow from low to high.",
        "quarter_tone": "An arrow over a note with a quarter-tone's sign: the finger is that of "
        "the semitone next to it, and the tone is to lie a quarter-tone higher (up) or lower "
        "(down).",
    },
    "foot_quarter_tone": "arrow: a quarter-tone off the place",
    "first_position_text": "The shaded places are those under the four fingers in first "
    "position, on every string alike.",
    "key_counts": "{} semitones",
    "no_keys": "open only: a drone",
    "one_key": "1 semitone",
    "key_place": "{} string, finger {}",
    "techniques": {"barre": "One finger on two strings", "row_jump": "Hops across strings"},
    "reason_jumps": ("{} hop across strings", "{} hops across strings"),
    "reason_highest": "up to {} on {}",
    "reason_barre": "one finger on two strings",
}
