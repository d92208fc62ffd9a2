"""What stands beside every exposure: assumptions, sources, cautions and what to do now."""

from __future__ import annotations

from typing import Final

from lungwort.paper.calculation import Stated

CAUTIONS: Final = (
    (
        "A screening estimate, never medical advice. Whoever may have been exposed is sent to a doctor at "
        "once, whatever the number."
    ),
    (
        "A low figure clears nobody: people with a diseased heart, pregnant women and their children are "
        "harmed at levels that others do not notice."
    ),
    (
        "A calculation from the figures entered; it does not replace a measurement at the wearer, a test "
        "of the blood, the standard itself, local codes or a competent person."
    ),
    "Exposure limits are no limits for breathing air: air at these values is not fit to be supplied.",
    (
        "This names persons and concerns their health. It is kept nowhere in the record; keep the paper "
        "as such data are to be kept."
    ),
)

UNCERTAINTY: Final = (
    "The band holds nine of ten draws of what is not known of the body, the lungs, the work and the "
    "sensor; it is not the band of all people. The equation was found to predict well from below 1 "
    "to 1000 ppm over 0.5 to 24 h (Peterson and Stewart 1970, abstract, confirmed); at 5000 ppm it gives more than was published (88 in "
    "place of 80 %). In people at hard work, of poor health or with anaemia it was tested little."
)

SOURCES: Final = (
    (
        "Coburn, Forster and Kane, J. Clin. Invest. 44 (1965) 1899, not linearised; equation as reproduced "
        "from Peterson and Stewart (confirmed on a reference page on carbon monoxide), closed solution as "
        "in public source code (confirmed)."
    ),
    (
        "Haldane constant 218, own carbon monoxide 0.007 mL/min, oxygen of the capillaries 49 mmHg below "
        "the inhaled: the same page (confirmed). Ventilation 6 to 30 L/min and diffusing capacity 20 to "
        "50 mL/min/mmHg by work, volume of the blood by height and weight: public source code (confirmed)."
    ),
    "Standard atmosphere: ISO 2533:1975.",
    (
        "8 h: sum of concentration times time over 8 h, EH40/2005 and Directive 98/24/EC (method from "
        "memory)."
    ),
    (
        "2.5 % carboxyhaemoglobin: WHO Air Quality Guidelines for Europe, 2nd edition (confirmed, "
        "secondary). 3.5 %: ACGIH biological exposure index (from memory)."
    ),
)

LEFT_OUT: Final = (
    "Carbon monoxide that was breathed before the first stay, beyond the level at the beginning.",
    "Air beside the supplied air: leaks at the face, and what was breathed with the hood off.",
    (
        "Breathing at more than the pressure of the atmosphere, as in diving and pressure chambers: the "
        "equation was not set up for it."
    ),
    "Treatment with oxygen: it shortens the time after the stay, and is a doctor's to order.",
)

NEXT_EXCEEDED: Final = (
    "Send whoever may have been exposed to a doctor at once; take this paper and the log along.",
    "Take the supply out of use until the cause is found; open a finding.",
    "Look whether the exposure has to be reported: employers and authorities have rules of their own.",
)
NEXT_DOUBT: Final = (
    "Send whoever may have been exposed to a doctor at once, whatever the number.",
    "Close the holes: find other readings of the time, and write down who was where.",
)
NEXT_ESTIMATE: Final = (
    "Send whoever may have been exposed, or feels unwell, to a doctor at once, whatever the number.",
)

BLOOD_MARKS: Final = ((2.5, "the 2.5 % of WHO"), (3.5, "the 3.5 % of the BEI (from memory)"))
"""Marks for carboxyhaemoglobin [%]: WHO Air Quality Guidelines for Europe, 2nd edition (confirmed), and
the biological exposure index at the end of a shift; as `SOURCES` names them."""
BREATHING_AIR_CO_PPM: Final = 5.0
"""Most carbon monoxide in breathing air [ppm]: EN 12021:2014, as the limit set that is shipped."""

NEXT_OXYGEN: Final = (
    "Take the supply out of use until it is known why the oxygen was so, and open a finding."
)

OXYGEN_LOGGED: Final = Stated(
    "For the blood the lower of the oxygen logged and that entered or assumed counts, not below what "
    "the equation can bear (15 %, more above 3200 m); between and after the stays 20.9 % at most.",
    "own rule",
    "makes the result higher",
)

RANGES: Final = (
    Stated(
        "Ventilation lies between the figure of the rate of work counted as dry gas at 0 °C and 1.2 "
        "times the figure as it stands; diffusing capacity between 1 and 1.5 times its figure.",
        "common practice, no source",
        "widens the band",
    ),
    Stated(
        "Haldane constant 218 to 250; the blood binds 0.18 to 0.22 mL oxygen a mL.",
        "from memory",
        "widens the band",
    ),
    Stated(
        "Blood: 3.6 to 6.5 L where height, weight and sex are not given, else their formula ± 10 %. Own "
        "carbon monoxide 0.005 to 0.009 mL/min, level at the beginning ± 30 %.",
        "common practice, no source",
        "widens the band",
    ),
    Stated(
        "Between two readings stands their mean; three usual steps, or half an hour, without a reading "
        "are a stretch of which nothing is known.",
        "common practice, no source",
        "a short peak between two readings is not seen",
    ),
)
