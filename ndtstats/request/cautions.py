"""What stands on every request: people can get hurt, and others decide.

The facts are of the sources named; the sentences are this project's own.
"""

RADIOGRAPHY = (
    "Radiation: cautions for whoever plans and takes exposures",
    "Exposures are made only by a licensed firm with trained, certified radiographers who carry "
    "dosimeters; the client plans with them (practice published by regulators; seen).",
    "The controlled area is fenced, signed, cleared and checked to be empty before each exposure, "
    "and watched throughout. Nobody stays in adjoining spaces, above, below or behind the plating: "
    "thin plate shields little (common practice, no source).",
    "The dose rate at the barrier is measured. Its limit is set by local law: "
    "________ microsievert per hour (fill in; published figures differ from country to country).",
    "The source is checked with a survey meter after each exposure, and a plan for a stuck or lost "
    "source is at hand (common practice, no source).",
    "In tanks and other confined spaces: gas-free, rescue ready, no hot work at the same time "
    "(common practice, no source).",
)

PRESSURE = (
    "Air and pressure tests: cautions",
    "Whether, how and at what pressure a zone is tested is decided and done by licensed people, "
    "under a written safe system of work, with the area kept clear and the connectors checked "
    "(HSE GS4; seen).",
    "Compressed air holds about two hundred times the energy of water at the same pressure "
    "(HSE GS4; seen). Raise it slowly, with few people near, a relief valve or U-tube and two "
    "gauges. Even 0.15 bar pushes with 15 kN on each square metre (computed).",
    "Nobody enters, stands over a test face or tightens anything under pressure; the supply is cut "
    "off once the pressure is steady, and vented before opening (HSE GS4; seen).",
    "The approved test pressure of the tank is never exceeded: plating is made for a head of "
    "liquid, not for bottled gas or shop air (common practice, no source).",
    "Before anybody goes in after the test, the space is ventilated and its oxygen tested (common "
    "practice, no source).",
)

DECISION = (
    "Who decides",
    "The contract, its edition of each standard, the local code and certified people decide on "
    "methods, levels and acceptance. This list says where to look, nothing more.",
)
