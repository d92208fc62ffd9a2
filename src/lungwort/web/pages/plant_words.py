"""Words of the form of a plant sheet: headings, labels and help by the keys of the file."""

from __future__ import annotations

from typing import Final

from lungwort.web.menu import N_

GROUPS: Final = (
    (
        N_("Where the compressor stands"),
        N_("For delivery on the worst day, and for the water in the air."),
        ("place",),
    ),
    (
        N_("What delivers"),
        N_("For the question whether there is enough air. A leak test: shut all outlets and the compressor, and watch the gauge at the receiver."),
        ("compressor", "leak_test"),
    ),
    (
        N_("Who is on the air"),
        N_("Everyone who may breathe at the same time. Flow and pressure are in the instructions of the equipment."),
        ("wearer",),
    ),
    (
        N_("Pipes and hoses"),
        N_("For the pressure at every wearer. A place is an outlet, or any name for a point where pipes meet; begin where the pressure is held."),
        ("source", "pipe", "regulator"),
    ),
    (
        N_("If the compressor stops"),
        N_("For the question how long the reserve lasts."),
        ("receiver", "reserve", "escape"),
    ),
    (
        N_("Treatment"),
        N_("Driers, cartridges and filters in the order in which the air goes through them."),
        ("treatment",),
    ),
    (
        N_("Cylinders from which others are filled"),
        N_("For the question how many cylinders can be filled."),
        ("bank", "fill"),
    ),
)  # fmt: skip

PARTS: Final = {
    "place": (N_("Place"), N_("Place")),
    "compressor": (N_("Compressors"), N_("Compressor")),
    "leak_test": (N_("Leak tests"), N_("Leak test")),
    "wearer": (N_("Wearers"), N_("Wearer")),
    "source": (N_("Where the pressure is held"), N_("Held pressure")),
    "pipe": (N_("Pipes, hoses and couplings"), N_("Pipe or hose")),
    "regulator": (N_("Regulators on the way"), N_("Regulator")),
    "receiver": (N_("Receivers"), N_("Receiver")),
    "reserve": (N_("Reserve cylinders"), N_("Reserve")),
    "escape": (N_("Time to get out"), N_("Time to get out")),
    "treatment": (N_("Stages of the treatment"), N_("Stage")),
    "bank": (N_("Bank of storage cylinders"), N_("Member of the bank")),
    "fill": (N_("What is filled"), N_("What is filled")),
}
"""Heading of each part, and what one of them is called."""

LABELS: Final = {
    "title": N_("Title"),
    "remark": N_("Remark"),
    "name": N_("Name"),
    "altitude_m": N_("Height above the sea"),
    "intake_temperature_c": N_("Temperature at the intake over the year"),
    "intake_humidity_percent": N_("Relative humidity there"),
    "air_temperature_c": N_("Temperature of the air in the lines"),
    "free_air_l_min": N_("Free air delivered"),
    "declared_at_bar_g": N_("Declared at a pressure of"),
    "duty_percent": N_("Share of the time that it may run"),
    "wear_percent": N_("Loss against its plate, as measured"),
    "purge_percent": N_("Share that driers take for themselves"),
    "standby": N_("Stands by: does not run with the others"),
    "tolerance_percent": N_("Tolerance of the declared delivery"),
    "declared_inlet_c": N_("Declared at an inlet temperature of"),
    "declared_inlet_bar_a": N_("Declared at an inlet pressure of"),
    "volume_l": N_("Volume"),
    "from_bar_g": N_("From a pressure of"),
    "to_bar_g": N_("To a pressure of"),
    "minutes": N_("Minutes"),
    "part": N_("What was tested"),
    "resolution_bar": N_("Smallest step of the gauge"),
    "temperature_from_c": N_("Temperature at the beginning"),
    "temperature_to_c": N_("Temperature at the end"),
    "at": N_("At which place"),
    "equipment": N_("Equipment"),
    "minimum_flow_l_min": N_("Least flow, as declared"),
    "work": N_("Work"),
    "minimum_bar_g": N_("Least pressure, by its instructions"),
    "maximum_bar_g": N_("Greatest pressure"),
    "count": N_("How many of them"),
    "simultaneous": N_("Of these at the same time"),
    "highest_flow_l_min": N_("Greatest flow, as declared"),
    "node": N_("Place"),
    "pressure_bar_g": N_("Pressure"),
    "from": N_("From the place"),
    "to": N_("To the place"),
    "kind": N_("Kind"),
    "length_m": N_("Length"),
    "bore_mm": N_("Bore"),
    "loss_coefficient": N_("Bends, valves and couplings: sum of K"),
    "roughness_mm": N_("Roughness of the wall"),
    "set_bar_g": N_("Set to"),
    "cylinders": N_("How many cylinders"),
    "lowest_inlet_bar_g": N_("Lowest pressure before its regulator"),
    "outlet_bar_g": N_("Pressure behind its regulator"),
    "opens_after_min": N_("Opened after"),
    "why": N_("Which way, and with whom"),
    "declared_hours": N_("Life declared by its maker"),
    "flow_l_min": N_("Free air through it"),
    "sorbent_g": N_("Mass of its filling"),
    "inlet_above_intake_c": N_("Air enters it warmer than the intake by"),
    "regenerates": N_("Two towers that dry each other out"),
    "water_capacity_percent": N_("Water that it takes, by mass"),
    "capacity_spread_percent": N_("Spread of that"),
    "separator_efficiency_percent": N_("Share of liquid water that is separated before it"),
    "dew_point_c": N_("Dew point behind it"),
    "highest_outlet_water_mg_m3": N_("Most water that may leave it"),
    "cylinder_l": N_("Water volume of one cylinder"),
    "temperature_c": N_("Temperature around it"),
    "wall_kg": N_("Mass of its wall"),
    "wall_j_kg_k": N_("Specific heat of its wall"),
}

SPECIAL: Final = {
    "leak_test.from_bar_g": N_("Pressure at the beginning"),
    "leak_test.to_bar_g": N_("Pressure at the end"),
    "leak_test.volume_l": N_("Volume of receiver and pipes"),
    "leak_test.minutes": N_("Time between"),
    "source.pressure_bar_g": N_("Lowest pressure there in use"),
    "receiver.pressure_bar_g": N_("Lowest pressure in use"),
    "receiver.at": N_("Stands at which place"),
    "reserve.at": N_("Joins at which place"),
    "reserve.volume_l": N_("Water volume of one"),
    "reserve.pressure_bar_g": N_("Pressure in them"),
    "escape.minutes": N_("Time that is needed"),
    "treatment.pressure_bar_g": N_("Pressure in it"),
    "bank.volume_l": N_("Water volume of one"),
    "bank.pressure_bar_g": N_("Pressure in them"),
    "bank.temperature_c": N_("Temperature of the air in them then"),
    "fill.from_bar_g": N_("Pressure before"),
    "fill.to_bar_g": N_("Pressure after"),
    "fill.minutes": N_("Time to fill one"),
}
"""Labels that a part words in its own way."""

HELP: Final = {
    "compressor.free_air_l_min": N_("As on its plate: litres a minute of the air that it takes in."),
    "compressor.standby": N_("It counts only where another is out of service."),
    "wearer.at": N_("Name of the outlet, or of a place in the lines."),
    "wearer.work": N_("Where it is not given, heavy work is assumed."),
    "pipe.loss_coefficient": N_("From memory: a full-bore ball valve about 0.1, a bend about 0.5, a quick coupling 2 to 10. Better figures are in handbooks and with makers."),
    "receiver.pressure_bar_g": N_("At which the compressor cuts in."),
    "reserve.opens_after_min": N_("0 where it steps in by itself; else how long until somebody has opened it."),
    "reserve.lowest_inlet_bar_g": N_("Below it the regulator no longer holds."),
    "bank.name": N_("Cylinders that are joined and opened together; the lowest pressure is opened first."),
    "bank.temperature_c": N_("Where it was read before they had cooled; else the pressure is taken as settled."),
    "fill.minutes": N_("A fast filling is hotter, and settles lower."),
}  # fmt: skip

CHOICES: Final = {
    "rest": N_("rest"),
    "light": N_("light"),
    "moderate": N_("moderate"),
    "heavy": N_("heavy"),
    "very_heavy": N_("very heavy"),
    "pipe": N_("pipe"),
    "hose": N_("hose"),
    "coupling": N_("coupling"),
    "valve": N_("valve"),
}
"""What can be chosen, where no room has words for it."""


def label_of(part: str, key: str) -> str:
    """Give the label of a key, in English.

    Parameters
    ----------
    part : str
        The part that it stands in; empty for the top.
    key : str
        The key.

    Returns
    -------
    str
        The label; the key itself where it has none.
    """
    return SPECIAL.get(f"{part}.{key}") or LABELS.get(key, key)


def choice_of(key: str) -> str:
    """Give the words of something that can be chosen, in English.

    Parameters
    ----------
    key : str
        As in the file.

    Returns
    -------
    str
        Its words.
    """
    from lungwort.plant.treatment import KIND_WORDS  # noqa: PLC0415 - only where it is shown
    from lungwort.wearers.demand_equipment import KINDS, equipment  # noqa: PLC0415 - as above

    if key in KINDS:
        return equipment(key).words
    return KIND_WORDS.get(key) or CHOICES.get(key, key)
