"""Words of the pages that need a definition, and the links that lead to it."""

import re
from typing import NamedTuple

from markupsafe import Markup, escape

from ndtstats.report.formatting import plain, unbroken


class Term(NamedTuple):
    """A word, its definition in this project's own words, and other forms in which it is met."""

    anchor: str
    word: str
    meaning: str
    forms: tuple[str, ...] = ()


#: All terms, in the order in which a page lists those it uses.
TERMS = (
    Term("rejected", "rejected", "beyond the acceptance level at the first examination (round 0). "
         "Repairs, re-shoots and spots not done are counted apart."),
    Term("spot", "spot", "one length of one joint that is or may be examined. Rates count spots: "
         "rejected ÷ examined.", ("spots",)),
    Term("unbiased", "unbiased", "rests on places that the rules require and on places drawn by "
         "chance, each weighted with 1 / its probability of being drawn. It speaks of all the "
         "welds under the rules. As the places weigh differently, the rate is not rejected ÷ "
         "examined."),
    Term("described", "described", "rests on everything that was examined, however it was chosen, "
         "unweighted. It describes what was examined, not what was welded."),
    Term("bounds", "bounds", "an interval that would hold the true value in the stated share of "
         "repetitions: for rates Clopper and Pearson 1934; for weighted rates on the effective "
         "number of spots, Korn and Graubard 1998. The longer it is, the less is known.",
         ("bound", "confidence")),
    Term("worth", "worth", "the effective number of spots: so many spots, all drawn alike and each "
         "on a joint of its own, would tell as much as those examined."),
    Term("shrunk", "shrunk rate", "a welder's rate drawn towards what all welders have in common, "
         "the more so the fewer his spots (beta-binomial empirical Bayes, Casella 1985). It is the "
         "better guess of what he will do next; its bounds keep the common rate as uncertain as it "
         "is.", ("shrunk rates", "shrunk")),
    Term("ratio", "observed ÷ expected", "rejects found, divided by the rejects that such work "
         "leads to in the hands of all: a logistic model of category, process, position and "
         "thickness. 1 is what was to be expected, 2 twice that.",
         ("ratio", "expected rejects", "fair comparison")),
    Term("standsout", "stands out", "differs by more than chance explains, after allowing for the "
         "number of comparisons (Benjamini and Hochberg 1995: on average at most the stated share "
         "of those named is named wrongly).", ("stand out",)),
    Term("adjusted", "adjusted p", "the probability of a difference as large by chance alone, "
         "raised because many were compared. Small means hard to explain by chance."),
    Term("funnel", "funnel", "limits within which a ratio lies by chance alone, by the number of "
         "rejects to be expected: wide for few, narrow for many (Spiegelhalter 2005). One in 20 of "
         "those who are as all the rest lies beyond the inner ones, one in 500 beyond the outer."),
    Term("signal", "signal", "a month or a welder beyond the limits of a control chart: hard to "
         "explain by chance, so that somebody looks for a cause. It is no verdict.", ("signals",)),
    Term("ewma", "moving average (EWMA)", "an average of the months in which the latest counts "
         "most; it shows a slow drift that no single month does (Roberts 1959).", ("EWMA",)),
    Term("cusum", "CUSUM", "a sum that rises with each reject of a welder and falls with each "
         "accept; at its limit his rate has probably risen (Reynolds and Stoumbos 1999)."),
    Term("hidden", "still hidden", "rejectable imperfections in welded lengths that nobody "
         "examined, expected from what was found in those that were drawn (gamma-Poisson).",
         ("hidden imperfections", "likely hidden")),
    Term("extent", "extent achieved", "the union of examined lengths; what two exposures show "
         "counts once. A re-shoot or a spot not done counts nothing.", ("extent", "extents")),
    Term("procedure", "procedure", "what the rules ask for after a reject: extra examinations, "
         "repair, re-examination, until all are done. Until then they are owed.",
         ("owed", "escalation")),
    Term("shared", "shared", "rejects that could not be laid at one welder's door; each is charged "
         "to every welder of that length, so the welders add up to more than all together."),
    Term("round", "round", "0 is the first examination; R1, R2 … come after a repair.",
         ("rounds",)),
    Term("reshoot", "re-shoot", "an exposure whose image is no good and is taken again; it says "
         "nothing of the weld.", ("re-shoots",)),
    Term("turnaround", "turnaround", "days from the day on which a place could be examined to the "
         "day it was, with requests still open counted for as long as they have waited (Kaplan and "
         "Meier 1958; bounds: Greenwood 1926, Brookmeyer and Crowley 1982)."),
    Term("kappa", "kappa", "agreement beyond what chance would bring: 0 is chance alone, 1 always "
         "the same verdict (Cohen 1960; of three readers or more Fleiss 1971)."),
    Term("release", "released", "a zone is free for its next step (closing, testing, painting, "
         "handing over) when nothing stands in the way: examinations, repairs, tests, "
         "qualifications, warnings. It is released when a named person has signed.",
         ("release", "free")),
    Term("lapse", "lapses", "a qualification is in force to a last day, and by most schemes only "
         "while it is confirmed and used; after that the welder may not weld under it.",
         ("lapse", "lapsing")),
    Term("exposure", "exposure", "one examination other than by eye: an image by X-ray, a place "
         "examined by ultrasonics or penetrant. A place that is taken again counts again.",
         ("exposures",)),
    Term("concern", "of concern", "a welder with more rejects than such work leads to, with how "
         "sure that is: sure (stands out after allowing for all comparisons), likely but not "
         "proven (beyond the inner funnel, or very probably above the rate of all), or a signal "
         "(his CUSUM was at its limit).", ("concern",)),
    Term("small", "small sample", "fewer than 30 spots (common practice, no source): bounds are "
         "long, and a rate may well be far off.", ("small samples",)),
)  # fmt: skip

#: What no page can say.
LIMITS = (
    "A method finds only part of what is there; no rate here is corrected for misses or false "
    "calls. No reject found is never proof that there is none: it is an upper bound.",
    "An interval covers chance in the choice of places, not mistakes in examination or records.",
    "A comparison of many welders finds some that differ by chance alone.",
)

_BY_FORM = {form.casefold(): term for term in TERMS for form in (term.word, *term.forms)}
# The longest form first: "shrunk rate" is not to be taken for "shrunk".
_FORMS = "|".join(map(re.escape, sorted(_BY_FORM, key=len, reverse=True)))
_ANY = re.compile(rf"(?<![\w-])({_FORMS})(?![\w-])", re.IGNORECASE)

#: Names, dates and words with hyphens that stand on one line, such as WB-41 or re-examinations.
_NAME = re.compile(r"(?<![\w-])((?=[\w-]{3,17}(?![\w-]))(?=re-|[\w-]*\d)\w+(?:-\w+)+)(?![\w-])")


class Linker:
    """Makes the first use of each term in a section a link, and remembers which were used.

    Examples
    --------
    >>> link = Linker()
    >>> print(link("2 spots <b>, 3 spots"))
    2 <a class="term" href="#meaning-spot">spots</a> &lt;b&gt;, 3 spots
    >>> [term.word for term in link.used]
    ['spot']
    """

    def __init__(self) -> None:
        self._here: set[str] = set()
        self._ever: set[str] = set()

    def begin(self) -> str:
        """Begin a section: terms are linked anew. Returns nothing to show."""
        self._here.clear()
        return ""

    def __call__(self, text: str) -> Markup:
        """Return text as markup, escaped, with its terms linked."""
        parts = _ANY.split(plain(text))
        return Markup("").join(
            self._linked(part) if number % 2 else _escaped(unbroken(part))
            for number, part in enumerate(parts)
        )

    def _linked(self, word: str) -> Markup:
        anchor, shown = _BY_FORM[word.casefold()].anchor, unbroken(word)
        if anchor in self._here:
            return escape(shown)
        self._here.add(anchor)
        self._ever.add(anchor)
        return Markup('<a class="term" href="#meaning-{}">{}</a>').format(anchor, shown)

    @property
    def used(self) -> list[Term]:
        """The terms that were linked so far, in the order of :data:`TERMS`."""
        return [term for term in TERMS if term.anchor in self._ever]


def _escaped(text: str) -> Markup:
    """Return text as markup in which a name is not broken at its hyphens."""
    parts = _NAME.split(text)
    return Markup("").join(
        Markup('<span class="w">{}</span>').format(part) if number % 2 else escape(part)
        for number, part in enumerate(parts)
    )
