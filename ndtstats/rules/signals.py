"""When a welder's own record tightens his examination or stops him: ``[signals]`` of the rules."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from ndtstats.rules.families import Items, Part

Signal = Literal["lower-bound", "probability", "cusum"]


class Signals(Part):
    """What is watched of each welder, and what follows.

    No code fixes an acceptable reject rate (seen, opinion): every figure here is chosen here, no
    source, until the parties agree others.

    Attributes
    ----------
    watch : tuple of {"lower-bound", "probability", "cusum"}
        Which signals; any of them is one. The probability is not watched unless it is named: it
        signals a welder whose very first film is rejected.
    limit : float
        Share of first examinations rejected that no welder may exceed. For the CUSUM the rate that
        is to be told of quickly.
    level : float
        How sure the bound and the probability are to be.
    borne : float
        The rate that is borne, for the CUSUM.
    false_alarm_spots : float
        Examinations of work at the rate borne between two false alarms of the CUSUM, on average.
    factor : float
        What the extent is multiplied by while tightened.
    release_after : int
        Accepts in a row, since it was tightened, that release.
    """

    watch: Annotated[tuple[Signal, ...], Items, Field(min_length=1)] = ("lower-bound", "cusum")
    limit: Annotated[float, Field(gt=0, lt=1)] = 0.10
    level: Annotated[float, Field(gt=0.5, lt=1)] = 0.95
    borne: Annotated[float, Field(gt=0, lt=1)] = 0.03
    false_alarm_spots: Annotated[float, Field(ge=1)] = 1000.0
    factor: Annotated[float, Field(ge=1)] = 2.0
    release_after: Annotated[int, Field(ge=1)] = 20

    @model_validator(mode="after")
    def _borne_below_limit(self) -> Self:
        if self.borne >= self.limit:
            wrong = f"has borne {self.borne:g} and limit {self.limit:g}"
            raise PydanticCustomError("borne_above_limit", "{wrong}", {"wrong": wrong})
        return self
