"""What is well formed in a rules file but cannot be: rules that contradict each other.

The checks read the file as the parser gives it, so that they find what they can even where other
parts of the file are wrong. What is of the wrong kind is left to the validation of the shape.
"""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterator, Mapping
from typing import Any

from ndtstats.columns import TABLES
from ndtstats.rules.amount import dimensions_needed
from ndtstats.rules.families import CheckPoints
from ndtstats.rules.hold_times import hold_tables
from ndtstats.rules.problems import Problem, Report, choice, shown
from ndtstats.rules.where import apart
from ndtstats.rules.zone_tests import KINDS, ZoneTests, serves, usual_test
from ndtstats.words import POSITIONS


def inconsistencies(
    report: Report, rules: list[Mapping[str, Any]], procedures: Collection[str]
) -> Iterator[Problem]:
    """Yield what contradicts itself.

    Parameters
    ----------
    report : Report
        The file.
    rules : list of mapping
        Its extent rules, with what ``[defaults]`` says; not one of them need be valid.
    procedures : collection of str
        The escalation procedures there are.
    """
    yield from _doubled_names(report, rules)
    yield from _clashes(report, rules)
    for number, rule in enumerate(rules):
        yield from _misfits(report, ("extent", number), rule)
        yield from _unknown_words(report, ("extent", number), rule)
        yield from _unknown_procedure(report, ("extent", number), rule, procedures)
        yield from _unknown_hold_times(report, ("extent", number), rule)
        yield from _missing_dimensions(report, ("extent", number), rule)
    yield from _asked_after_all(report, rules)
    yield from _idle_factors(report, rules)
    yield from _unfit_tests(report)


def _asked_after_all(report: Report, rules: list[Mapping[str, Any]]) -> Iterator[Problem]:
    """Yield categories of which nothing is asked, and something after all."""
    nothing = _texts(report.raw, "nothing_asked")
    for number, rule in enumerate(rules):
        for category in _texts(rule, "categories"):
            if category in nothing:
                reason = "stands under nothing_asked"
                path = ("extent", number, "categories")
                remedy = "take it out of one of the two"
                yield report.problem(path, reason, remedy, value=shown(category))


def _doubled_names(report: Report, rules: list[Mapping[str, Any]]) -> Iterator[Problem]:
    seen: Counter[str] = Counter()
    for number, rule in enumerate(rules):
        name = _text(rule, "name")
        seen[name] += 1
        if name and seen[name] > 1:
            remedy = "give each rule a name of its own"
            path = ("extent", number, "name")
            yield report.problem(path, "stands twice", remedy, value=shown(name))


def _clashes(report: Report, rules: list[Mapping[str, Any]]) -> Iterator[Problem]:
    """Yield pairs of rules between which an examination could be counted twice."""
    held: defaultdict[tuple[str, str], list[Mapping[str, Any]]] = defaultdict(list)
    for number, rule in enumerate(rules):
        for category in dict.fromkeys(_texts(rule, "categories")):
            named = [held[category, method] for method in _methods(rule)]
            others = [other for of_method in named for other in of_method]
            clash = [_text(other, "name") for other in others if _same_places(rule, other)]
            if clash:
                reason = f'falls under rule "{clash[0]}" by the same method already'
                remedy = (
                    'take it out of one, part them by places "crossings" and "elsewhere", '
                    "or by a where that no joint meets in both"
                )
                path = ("extent", number, "categories")
                yield report.problem(path, reason, remedy, value=shown(category))
            for of_method in named:
                of_method.append(rule)
    yield from _elsewhere_alone(report, rules, held)


def _methods(rule: Mapping[str, Any]) -> list[str]:
    return list(dict.fromkeys([_text(rule, "method"), *_texts(rule, "or_by")]))


def _same_places(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Return whether some place of some joint may fall under both of two rules."""
    places = {str(rule.get("places", "all")) for rule in (one, other)}
    meet = len(places) == 1 or "all" in places
    return meet and not apart(one.get("where"), other.get("where"))


def _elsewhere_alone(
    report: Report,
    rules: list[Mapping[str, Any]],
    held: Mapping[tuple[str, str], list[Mapping[str, Any]]],
) -> Iterator[Problem]:
    for number, rule in enumerate(rules):
        if rule.get("places") != "elsewhere":
            continue
        for category in _texts(rule, "categories"):
            others = [
                other.get("places", "all")
                for other in held[category, _text(rule, "method")]
                if not apart(rule.get("where"), other.get("where"))
            ]
            if "crossings" not in others and "all" not in others:
                reason = f'"elsewhere" means nothing for {shown(category)}'
                remedy = 'add a rule for it with places "crossings", or take places "all"'
                yield report.problem(("extent", number, "places"), reason, remedy)


def _unknown_words(
    report: Report, path: tuple[str | int, ...], rule: Mapping[str, Any]
) -> Iterator[Problem]:
    """Yield words of a condition that can stand in no joint."""
    where = rule.get("where")
    for key in ("joint_type", "penetration", "position"):
        allowed = TABLES["joints"].column(key).allowed or tuple(POSITIONS)
        for word in _texts(where, key) if isinstance(where, Mapping) else ():
            if word not in allowed:
                reason = f"can stand in no joint as {key}"
                remedy = choice(word, allowed)
                yield report.problem((*path, "where", key), reason, remedy, value=shown(word))


def _misfits(
    report: Report, path: tuple[str | int, ...], rule: Mapping[str, Any]
) -> Iterator[Problem]:
    amount, places = rule.get("amount"), rule.get("places", "all")
    family = _text(amount, "family") if isinstance(amount, Mapping) else ""
    value = shown(places)
    if family == "percent-of-joints" and places != "all":
        remedy = 'joints are examined whole; take places "all"'
        yield report.problem((*path, "places"), "does not fit", remedy, value=value)
    if family == "spot-per-increment" and places == "crossings":
        remedy = "crossings have no increments; take family share-of-length or check-points"
        yield report.problem((*path, "places"), "does not fit", remedy, value=value)
    by_formula = isinstance(amount, Mapping) and "points" not in amount
    if family == "check-points" and by_formula and rule.get("counted_per"):
        remedy = "the formula gives one number for all joints; leave it out, or give points"
        yield report.problem((*path, "counted_per"), "does not fit", remedy)
    if family == "percent-of-joints" and rule.get("spots_per_joint"):
        remedy = "the rule chooses joints; leave it out, or take a family of spots"
        yield report.problem((*path, "spots_per_joint"), "does not fit", remedy)
    if family in {"share-of-length", "percent-of-joints"} and rule.get("always_counts") is False:
        remedy = "part the rule by places, or take a family of spots"
        yield report.problem((*path, "always_counts"), "does not fit", remedy)
    if isinstance(amount, Mapping) and amount.get("examined") == "one-spot" and rule.get("always"):
        remedy = "one spot of each joint is drawn; leave it out"
        yield report.problem((*path, "always"), "does not fit", remedy)
    told = amount if isinstance(amount, Mapping) else {}
    one_for_all = told.get("examined") == "one-spot" and told.get("counted_for") != "each-welder"
    if one_for_all and rule.get("spots_per_welder"):
        remedy = 'one spot shows no welder for sure; take counted_for "each-welder"'
        yield report.problem((*path, "spots_per_welder"), "does not fit", remedy)
    for key in ("always", "first"):
        if places == "elsewhere" and "crossings" in _texts(rule, key):
            remedy = "the rule leaves the crossings to another one; take them out"
            yield report.problem((*path, key), '"crossings" does not fit', remedy)


def _unknown_procedure(
    report: Report,
    path: tuple[str | int, ...],
    rule: Mapping[str, Any],
    procedures: Collection[str],
) -> Iterator[Problem]:
    name = _text(rule, "escalation")
    if name and name not in procedures:
        remedy = choice(name, sorted(procedures))
        yield report.problem(
            (*path, "escalation"), "is not an escalation procedure", remedy, value=shown(name)
        )


def _unknown_hold_times(
    report: Report, path: tuple[str | int, ...], rule: Mapping[str, Any]
) -> Iterator[Problem]:
    name = _text(rule, "hold_times")
    if name and name not in hold_tables():
        remedy = choice(name, list(hold_tables()))
        reason = "is not a table of hold times"
        yield report.problem((*path, "hold_times"), reason, remedy, value=shown(name))


def _missing_dimensions(
    report: Report, path: tuple[str | int, ...], rule: Mapping[str, Any]
) -> Iterator[Problem]:
    amount, structure = rule.get("amount"), report.raw.get("structure", {})
    if not isinstance(amount, Mapping) or amount.get("family") != "check-points":
        return
    told = CheckPoints.model_construct(**{"divisor": None, "lengths": None, **amount})
    for name in dimensions_needed(told):
        if not isinstance(structure, Mapping) or name not in structure:
            yield report.problem(
                (*path, "amount"),
                f"needs the structure's {name}",
                f"give {name} under [structure], in metres",
            )


def _idle_factors(report: Report, rules: list[Mapping[str, Any]]) -> Iterator[Problem]:
    """Yield risk factors that would never apply, for a slip in a name goes unseen otherwise."""
    risk = report.raw.get("risk")
    if not isinstance(risk, Mapping):
        return
    named = {category for rule in rules for category in _texts(rule, "categories")}
    consequence = risk.get("consequence")
    for category in consequence if isinstance(consequence, Mapping) else ():
        if category not in named:
            path = ("risk", "consequence", category)
            remedy = choice(category, sorted(named))
            yield report.problem(path, "no rule names this category", remedy)
    for position in _texts(risk, "difficult_positions"):
        if position not in POSITIONS:
            remedy = choice(position, POSITIONS)
            reason = "is not a welding position of ISO 6947"
            yield report.problem(
                ("risk", "difficult_positions"), reason, remedy, value=shown(position)
            )


def _unfit_tests(report: Report) -> Iterator[Problem]:
    """Yield tests of zones that serve another end, and pressures that exceed the most."""
    tests = report.raw.get("tests")
    for name, given in tests.items() if isinstance(tests, Mapping) else ():
        kind = _text(given, "kind") if isinstance(given, Mapping) else ""
        if name not in ZoneTests.model_fields or kind not in KINDS:
            continue
        if serves(kind) != name:
            fitting = ", ".join(one for one in KINDS if serves(one) == name)
            reason = f"is no {name} test"
            yield report.problem(
                ("tests", name, "kind"), reason, f"take one of {fitting}", value=shown(kind)
            )
        told = {**usual_test(kind).model_dump(), **given}
        for key in ("pressure_bar", "raised_to_bar"):
            low, most = told.get(key), told["most_bar"]
            if isinstance(low, float) and isinstance(most, float) and low > most:
                reason = f"exceeds most_bar, {most:g}"
                remedy = "lower it, or state the most that is allowed"
                path = ("tests", name, key if key in given else "most_bar")
                yield report.problem(path, reason, remedy, value=shown(low))


def _text(table: Mapping[str, Any], key: str) -> str:
    found = table.get(key)
    return found if isinstance(found, str) else ""


def _texts(table: Mapping[str, Any], key: str) -> list[str]:
    found = table.get(key)
    return [item for item in found if isinstance(item, str)] if isinstance(found, list) else []
