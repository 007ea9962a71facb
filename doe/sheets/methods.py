"""How the numbers were made, in sentences that name their sources."""

from __future__ import annotations

from doe.fit.verdicts import CLAIM, SURE
from doe.model import wording
from doe.model.setup import Setup

_CLAIM, _SURE = wording.percent(CLAIM), wording.percent(SURE)
_ALWAYS = (
    "Ten readings of one build are not ten builds. Readings are described by a linear mixed model with build, session and "
    "rater as sources of scatter, fitted by restricted maximum likelihood (Patterson and Thompson 1971, Biometrika 58, "
    "545-554); effects are judged against the scatter from build to build.",
    "Small samples: approximate degrees of freedom after Satterthwaite (1946), Biometrics Bulletin 2, 110-114.",
    "Which terms act: many models with few terms each are weighed and averaged (Box and Meyer 1993, Journal of Quality "
    "Technology 25, 94-105); interactions count as likelier where their factors act by themselves (Chipman 1996, Canadian "
    "Journal of Statistics 24, 17-36). How sure it is that a term acts is its share in that average.",
    f"Verdicts: 'moves it' - the term acts with {_CLAIM} or more and its 95 % interval leaves zero out, or with {_SURE} "
    f"or more though its average size is open; 'too small to "
    "matter' - the whole interval lies within plus and minus what matters, and no bend or interaction of it may matter "
    "either; 'tangled with' - the log cannot tell it from another; otherwise 'can't tell yet'.",
    "Without repeated builds the margin in a normal plot is that of Lenth (1989), Technometrics 31, 469-473.",
)
_RATED = (
    "Grades are also taken as an order only, by a cumulative logit with an offset for each rater (McCullagh 1980, Journal of "
    "the Royal Statistical Society B 42, 109-142); where it disagrees with the mixed model, the checks say so.",
)
_COMPARED = (
    "Comparisons become abilities in log odds (Bradley and Terry 1952, Biometrika 39, 324-345), ties among them counted after "
    "Davidson (1970), Journal of the American Statistical Association 65, 317-328.",
)
_WORTH = (
    "Worth: each outcome's value becomes 0 to 1 by its goal, and their weighted geometric mean is taken (Derringer and "
    "Suich 1980, Journal of Quality Technology 12, 214-219).",
    "Next change: for every variant within reach, the expected improvement in worth over the best variant kept, and the "
    "expected information about which terms act (Meyer, Steinberg and Box 1996, Technometrics 38, 303-313), weighed "
    "against its bench minutes.",
)


_SETTLED = (
    "Confirmation: a promise is kept where two one-sided tests place the fresh builds' difference from it within plus and "
    "minus what matters (Schuirmann 1987, Journal of Pharmacokinetics and Biopharmaceutics 15, 657-680); how many builds "
    "that takes is computed from the power of these tests (Phillips 1990, the same journal 18, 137-144).",
    "How far a setting may drift: the share of joint posterior draws in which every outcome keeps its limits and loses no more "
    "than what matters.",
)


def methods(setup: Setup, *, is_settled: bool = False) -> tuple[str, ...]:
    """List the methods that a project's numbers rest on; each only where there is something for it to tell."""
    kinds = {outcome.kind for outcome in setup.outcomes}
    asked = (
        (_RATED, "rated" in kinds),
        (_COMPARED, "compared" in kinds),
        (_WORTH, any(outcome.goal for outcome in setup.outcomes)),
        (_SETTLED, is_settled),
    )
    return _ALWAYS + tuple(line for lines, is_wanted in asked if is_wanted for line in lines)
