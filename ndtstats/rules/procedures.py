"""What a reject sets in motion, as data: the parameters of each escalation procedure.

The presets follow published rules; the contract's edition governs. A rules file may change any
parameter under ``[escalation.NAME]``. What they mean in time is in
:mod:`ndtstats.escalation.decide`.
"""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

Where = Literal["lot", "adjacent"]


class Procedure(BaseModel):
    """Parameters of one escalation procedure.

    Attributes
    ----------
    where : {"lot", "adjacent"}
        Extras are other places of the lot, or the places on both sides of the reject.
    extras_per_reject : int
        Extras for each reject of the stage before; 0 where ``extra_shares`` is used.
    extra_shares : tuple of float
        Extras as a share of the lot's units, stage by stage, however many rejects there were.
    stages : int
        Stages of extras in the lot; a reject in the last one makes the whole lot owed.
    spot_length_mm : float
        Length of an adjacent extra.
    sound_margin_mm : float or None
        A side needs no extra if the image shows at least this much sound weld there.
    most_steps : int
        Rejected adjacent extras in a row, in one direction, that make the whole lot owed.
    lot : tuple of str
        What the lot is made of; a rule may say otherwise. Where it is the joint, the whole lot is
        the whole joint.

    Notes
    -----
    Whole means examined whole, or cut out and made anew as joints of their own number. A defect in
    a repair starts nothing anew, and a reject in another welder's part opens his own lot.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: str
    source: str
    where: Where = "lot"
    extras_per_reject: int = Field(2, ge=0)
    extra_shares: tuple[float, ...] = ()
    stages: int = Field(1, ge=1)
    spot_length_mm: float = Field(300.0, gt=0)
    sound_margin_mm: float | None = Field(None, ge=0)
    most_steps: int = Field(4, ge=1)
    lot: tuple[str, ...] = ("welder", "category", "method")


PRESETS: dict[str, Procedure] = {
    procedure.name: procedure
    for procedure in (
        # Two more of the same kind by the same welder for each bad item, twice, then everything
        # represented. ASME B31.3, 341.3.4 (a) to (f); seen.
        Procedure(
            name="progressive-piping",
            source="ASME B31.3, 341.3.4; seen; the contract's edition governs",
            extras_per_reject=2,
            stages=2,
            lot=("welder", "category", "method"),
        ),
        # Two more spots in the same increment, away from the first; either bad: the whole
        # increment. ASME VIII-1, UW-52(d); from memory.
        Procedure(
            name="spot-vessel",
            source="ASME VIII-1, UW-52(d); from memory; the contract's edition governs",
            extras_per_reject=2,
            stages=1,
            lot=("increment", "category", "method"),
        ),
        # Two more spots in the same segment, away from the first; either bad: the whole segment.
        # AWS D1.1, 6.15.3 (8.15.3 from 2020), D1.2, 5.8.3 alike; from memory.
        Procedure(
            name="spot-structure",
            source="AWS D1.1, 6.15.3; from memory; the contract's edition governs",
            extras_per_reject=2,
            stages=1,
            lot=("joint", "method"),
        ),
        # One spot on each side of the bad one, unless its image shows 75 mm of good weld there,
        # until the limits are found. API 650, 8.1.6; seen. Spot length 150 mm: API 650, 8.1; seen.
        Procedure(
            name="tank-shell",
            source="API 650, 8.1.6; seen; the contract's edition governs",
            where="adjacent",
            spot_length_mm=150.0,
            sound_margin_mm=75.0,
            most_steps=8,  # chosen here, edit: the code sets no number
            lot=("joint", "method"),
        ),
        # A spot on each side until the first sound one or the end of the weld; a long run of bad
        # ones: the whole weld. Common practice, no source. Check points of 0.3 to 0.5 m: LR
        # Special Service Craft, Pt 7 Ch 2, 3.6; seen.
        Procedure(
            name="until-sound-hull",
            source="common practice, no source; check point length LR SSC Pt 7 Ch 2, 3.6, seen",
            where="adjacent",
            spot_length_mm=300.0,
            most_steps=4,  # chosen here, edit
            lot=("joint", "method"),
        ),
        # A further share of the lot, then all of it. 10 %: UFGS 15216N, 3.x; seen (an editable
        # figure there). An owner's specification takes 20 %, and as the lot what a welder made in
        # a day; seen.
        Procedure(
            name="percent-of-lot",
            source="UFGS 15216N, 3.x; seen; the contract's edition governs",
            extras_per_reject=0,
            extra_shares=(0.10,),
            stages=1,
            lot=("welder", "category", "method"),
        ),
    )
}
