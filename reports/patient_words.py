"""Every sentence of the patient summary. A translation is this file in another language, and nothing else.

Short sentences and everyday words: the tests hold the reading age at about 12. Braces stand for what is filled in.
"""

from collections.abc import Mapping

EDITION = "Internal draft: not for release"
SKIP = "Skip to when to get help"
TITLE = "Having a device fitted: how it went here"
FIRST_WORDS = (
    (
        "A device is a small thing that a doctor or nurse puts in your womb. It stops you from getting pregnant. "
        "Many people call it a coil."
    ),
    (
        "We looked back at our own notes up to {data_to}. We counted how things went for the women who came here "
        "for a device."
    ),
    (
        "This page can help you to ask questions. It cannot tell how things will go for you. What your own doctor "
        "or nurse says comes first."
    ),
)
HOW_TO_READ = (
    "Each picture has 100 shapes, and each shape stands for 1 of 100. “Could be 3 to 7” tells you how far out our "
    "number could be by chance."
)

HELP_TITLE = "When to get help at once"
HELP_FIRST = "If you have a device, get help if:"
HELP_SIGNS = (
    "you are in very bad pain",
    "you have a fever",
    "you bleed a lot",
    "you might be pregnant",
    "you cannot feel the threads of the device.",
)
HELP_LAST = "Call the clinic or the local urgent care team. Do not wait."

# Each picture: its heading, what it is about, and the words for each of its parts, alone or put together.
HEADINGS = {
    "fitted": "Was the device fitted?",
    "faint": "Did they feel faint?",
    "year": "How were things after a year?",
}
LEADS = {
    "fitted": (
        "Think of 100 women who came here for a device in the year up to {last_day}. For all of them, the fitting "
        "was begun."
    ),
    "faint": (
        "Some women feel faint or pass out when a device is fitted. Think of 100 visits in the year up to "
        "{last_day}. At each of them, a fitting was begun."
    ),
    "year": "Think of 100 women who had a device fitted here more than a year ago.",
}
PARTS: Mapping[str, Mapping[tuple[str, ...], str]] = {
    "fitted": {
        ("first_visit",): "had it fitted at the first visit",
        ("later",): "did not, but had it fitted within {days} days",
        ("not_fitted",): "did not have it fitted within {days} days",
        ("later", "not_fitted"): "did not have it fitted at the first visit",
        ("unknown",): "have no note of this",
    },
    "faint": {
        ("yes",): "felt faint or passed out",
        ("no",): "did not feel faint",
        ("unknown",): "have no note of this",
    },
    "year": {
        ("using",): "still had the same device",
        ("came_out",): "had it come out by itself, or partly come out",
        ("stopped",): "had it taken out, or stopped in some other way",
        ("came_out", "stopped"): "no longer had it",
        ("using", "came_out", "stopped"): "we know about",
        ("unknown",): "we do not know about",
    },
}
OF = "of 100"
FEWER_THAN_ONE = "Fewer than 1"
SHAPE_NAMES = {
    "full": "full circles",
    "half": "half-full circles",
    "open": "empty circles",
    "diamond": "diamonds",
    "unknown": "circles with a cross",
}
PICTURE = "A picture of 100 shapes. {parts}"
PICTURE_PART = "{number} {shapes}: {words}."

# Said below a picture.
COUNTED = {
    "fitted": "We counted about {number} women.",
    "faint": "We counted about {number} visits.",
    "year": "We counted about {number} women.",
}
NOT_AT_FIRST = "So {number} of 100 did not have it fitted at first ({range})."
LATER_OF_THESE = "Of these {number}, {later} had it fitted later."
IF_LIKE_THE_REST = {
    "fitted": (
        "If those with no note were like the rest, it was {about} who had it fitted at the first visit ({range})."
    ),
    "faint": "If those with no note were like the rest, it was {about} who felt faint or passed out ({range}).",
}
PASSED_OUT = "Did they pass out? {about} did ({range})."
NONE_PASSED_OUT = "Did they pass out? No one did. It {range} in 100."
YEAR_IF_LIKE = (
    "If the women we do not know about were like the rest, {about} still had the same device ({range}).",
    "And {about} did not ({range}).",
    "For {about} it had come out by itself ({range}).",
)
YEAR_BETWEEN = (
    "We lost touch with many of the women, so we cannot give just one number.",
    "From {low} to {high} in 100 still had the same device.",
    "From {low} to {high} in 100 did not.",
    "For {low} to {high} in 100 it had come out by itself.",
)
BOTH_FINE = (
    "To keep a device can be right, and so can having it taken out. Some women want a baby, or want to try "
    "something else."
)
ALL_KNOWN = "We know this for all of them."
FEW_UNKNOWN = "For some more we do not know. Those are too few to show."
NOT_SPLIT = "We do not split this up, as some of the numbers are too few to show."
MOST = {
    "fitted": "Most had it fitted at the first visit. The rest are too few to show.",
    "faint": "Most did not feel faint. The rest are too few to show.",
    "year": "Most of those we know about still had the same device. The rest are too few to show.",
}
SOME_TOO_FEW = "Some of the numbers are too few to show, so we show none of them."

# Said in place of a picture.
TOO_FEW_COUNTED = {
    "fitted": "Fewer than 30 women can be counted here so far. That is too few to show.",
    "faint": "Fewer than 30 visits can be counted here so far. That is too few to show.",
    "year": "Fewer than 30 women can be counted here so far. That is too few to show.",
}
NOT_HELD = "Our notes do not tell us this."
NOT_WRITTEN_DOWN = "Our notes leave this out too often, so we give no number."
YEAR_NOT_OVER = "No one has had her device for long enough yet. We need a full year to count."
YEAR_CLOSED = (
    "We know too little about how the year went for the women who had a device fitted here. A number could be far "
    "from the truth, so we give none."
)

NOT_KNOWN_TITLE = "What we do not know"
YEAR_UNKNOWN = (
    "We do not know how the year went for {number} of 100 women. They may have moved away, or not come back, or "
    "not wanted to be asked."
)
TROUBLE_COMES_BACK = (
    "Women with a problem may come back more often. So a problem may look more common here than it is."
)
YOU = "We do not know how it will go for you. You may not be like the women we counted."

RARE_TITLE = "Problems that are rare"
RARE_FIRST = (
    "Some problems are so rare that one clinic is too small to count them. So these numbers come from large "
    "studies in six countries of Europe. They are out of 1,000 women, not 100."
)
RARE_NONE = "We have no study to show here."
RARE = {
    "wall": "The device goes into the wall of the womb, or through it",
    "pregnant": "Getting pregnant with a device in place",
    "outside": "A pregnancy outside the womb",
}
# Here a range brings its own brackets, since "fewer than 1" goes without.
WALL = "In the first year, this was found after {about} fittings{range}. After {others} it was not."
WALL_MILK = "For women who breastfed and had a baby less than 36 weeks ago, it was {about}{range}."
PREGNANT_HORMONE = "In one year, {about} women with one kind of hormone device got pregnant{range}."
PREGNANT_COPPER = "In one year, {about} women with a copper device got pregnant{range}. And {others} did not."
OUTSIDE = "This was {about} women in one year: {events} of {women}. It needs help at once."
STUDY = "Study {number}"
STUDIES = "The studies"

COUNTING_TITLE = "How we counted"
COUNTING = (
    (
        "We never show a number that stands for 1 to 7 women. We write “too few to show”. No one should be able to "
        "tell who they are."
    ),
    (
        "All numbers are rounded. If we did such a count 100 times, the true number would lie in the range we give "
        "about 95 times."
    ),
    (
        "We left out women who came for the first time in the last {days} days. They may still have it fitted. A "
        "woman who came for a new device later in the year counts once more."
    ),
    "We left out visits that were put off before the fitting was begun.",
    "For the time after a year, we looked at the first device of each woman in our notes.",
)
BLANK_IS_NO = "Where no one wrote down that a woman felt faint, we took it that she did not."
LAST_WORDS = "This is a draft for the team here to check. Do not hand it out."


def could_be(low: int, high: int) -> str:
    """How far out a number could be.

    Examples
    --------
    >>> could_be(3, 7), could_be(0, 2)
    ('could be 3 to 7', 'could be up to 2')
    """
    return f"could be {low} to {high}" if low else f"could be up to {high}"


def about_in(number: int, size: int) -> str:
    """A number out of a hundred or a thousand; `number` 0 stands for fewer than 1.

    Examples
    --------
    >>> about_in(5, 100), about_in(0, 1000)
    ('about 5 in 100', 'fewer than 1 in 1,000')
    """
    return f"{f'about {number}' if number else 'fewer than 1'} in {size:,}"
