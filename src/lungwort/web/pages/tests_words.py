"""What the page of a test under way says by itself, without asking the computer."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from lungwort.web.menu import N_

if TYPE_CHECKING:
    from lungwort.web.context import Ctx

WORDS: Final = {
    "step": N_("Step {number} of {total}"),
    "connected": N_("Connected. All is on the computer."),
    "sending": N_("Sending …"),
    "kept_one": N_("1 entry is kept on this device, not yet on the computer."),
    "kept_many": N_("{count} entries are kept on this device, not yet on the computer."),
    "no_connection": N_("No connection."),
    "signed_out": N_("Nobody is signed in here. What was entered is kept on this device."),
    "sign_in": N_("Sign in and go on"),
    "not_allowed": N_("The computer does not take entries from you:"),
    "on_device": N_("kept on this device"),
    "on_computer": N_("on the computer"),
    "not_accepted": N_("Not accepted"),
    "not_used": N_("kept, not used"),
    "amended": N_("amended"),
    "enter": N_("Enter"),
    "done": N_("Done"),
    "leave_out": N_("Leave out"),
    "left_out": N_("left out"),
    "began": N_("began"),
    "ended": N_("ended"),
    "minus": N_("Minus"),
    "less_than": N_("Less than"),
    "nothing_entered": N_("Nothing is entered. Enter a number, or leave it out."),
    "no_number": N_("This is no number. Enter it in figures."),
    "two_ways": N_("{given} can be read as {whole} or as {part}. Write {whole}, or {part}0."),
    "range": N_("As it should be: {span} {unit}"),
    "from": N_("from {low}"),
    "up_to": N_("up to {high}"),
    "from_to": N_("from {low} to {high}"),
    "then_refuse": N_("It is not accepted."),
    "then_warn": N_("It is noted."),
    "then_doubt": N_("The test then proves nothing."),
    "then_void": N_("The test is then void."),
    "founded": N_("Times and ranges: {standing}."),
    "expires": N_("in date until {day}"),
    "expired": N_("expired on {day}"),
    "no_lot": N_(
        "No lot of the kind is on record. Put one on record first; this test goes on then."
    ),
    "nothing_on_record": N_("Nothing of the kind is on record. Put it on record first."),
    "assumed": N_("This lot names no kind that is known: the bands of {title} are taken."),
    "row_lowest_first": N_("The lowest row of the indicator stands first here."),
    "row_nothing": N_("Nothing"),
    "row_dots": N_("Separate dots"),
    "row_line": N_("Joined line"),
    "row_cannot": N_(
        "This cannot be: a row never shows more than the one below it. Hold the indicator the right "
        "way round and read it again; if it stays so, it is faulty: void the test and take a new one."
    ),
    "row_missing": N_("Say of each row what it shows."),
    "row_amounts": N_("dots from {dots}, line from {line} mg/m³"),
    "row_line_only": N_("line from {line} mg/m³"),
    "scale": N_("Scale of the tube in {unit}"),
    "marks": N_("from {first} to {last} {unit}"),
    "tube_strokes": N_("The scale holds for {strokes} strokes."),
    "under_first": N_("Nothing, or under the first mark"),
    "past_last": N_("Past the last mark"),
    "begin_wait": N_("Begin: {length}"),
    "at_least": N_("At least {length}"),
    "at_most": N_("and no longer than {length}"),
    "left": N_("left"),
    "time_over": N_("The time is over."),
    "go_on": N_("Go on"),
    "end_early": N_("End it now, too early"),
    "early_follows": N_("It would be recorded as cut short."),
    "end_early_sure": N_("Yes, end it now"),
    "longer": N_("It has lasted {length}, and {most} at most were meant."),
    "longer_soon": N_("Go on before {length} have passed."),
    "sound": N_("Sound at the end"),
    "screen_on": N_("The screen is kept on while this page is open."),
    "screen_off": N_("This device may switch its screen off. The time goes on all the same."),
    "earlier": N_("What was entered"),
    "back": N_("Back to the test"),
    "nothing_yet": N_("Nothing was entered yet."),
    "put_right": N_("Put right"),
    "why_right": N_("Why is it put right? Both entries stay to be seen."),
    "reason_needed": N_("Give the reason."),
    "given_before": N_("Entered before: {given}"),
    "photo": N_("Take a photo of this step"),
    "photo_many": N_("{count} photos"),
    "photo_one": N_("1 photo"),
    "photo_large": N_("The photo is larger than {most} MB. Take it with a lower resolution."),
    "photo_kind": N_("This is no photo that can be kept. Take a JPEG, PNG, WebP or HEIC picture."),
    "photo_refused": N_("A photo was not taken: {why}"),
    "photo_drop": N_("Leave this photo out"),
    "abort": N_("Give the test up"),
    "abort_why": N_("Why is the test given up? That it was begun goes into the record."),
    "abort_sure": N_("Give it up and record that"),
    "void_title": N_("The test is void"),
    "void_says": N_("It says nothing of the air. Record it so, and test again."),
    "void_record": N_("Record it as void"),
    "all_entered": N_("All is entered"),
    "record": N_("Record the test"),
    "record_says": N_("What it says of the air is held against the limits as it is recorded."),
    "will_record": N_("Will be recorded as soon as the connection is back."),
    "leave_open": N_("Leave this page open, or open it again later. Nothing more is needed."),
    "recording": N_("Being recorded …"),
    "recorded": N_("The test is on record."),
    "show_record": N_("Show the test"),
    "recorded_without": N_("These entries of this device are not in it:"),
    "doubts": N_("The test cannot prove that the air conforms:"),
    "mind": N_("To be minded"),
    "problem": N_("The computer did not take an entry"),
    "you_entered": N_("You entered {given} for “{ask}”."),
    "seen": N_("I have seen this"),
    "differs": N_("Another device was first"),
    "amend_to_mine": N_("Amend to {given}"),
    "first_is_right": N_("The first one is right: {given}"),
    "kept_back_one": N_("1 entry that followed is kept and asked again."),
    "kept_back_many": N_("{count} entries that followed are kept and asked again, one by one."),
    "kept_give": N_("You entered {given} at {time}. Is that right?"),
    "kept_yes": N_("Yes: {given}"),
    "kept_wait": N_("A wait cannot be confirmed afterwards: do it again."),
    "cannot_keep": N_(
        "This device cannot keep entries (private window, or no room). Do not go on without a "
        "connection: what is entered might be lost."
    ),
    "no_worker": N_(
        "This browser cannot load this page again without a connection. Leave it open; what is "
        "entered is kept all the same."
    ),
    "other_person": N_("{who} ended this test here and is no longer signed in. Record it now?"),
    "record_now": N_("Yes, record it"),
    "cautions": N_("Before you go on"),
    "understood": N_("Understood: begin"),
    "minutes": N_("{minutes} min"),
    "minutes_seconds": N_("{minutes} min {seconds} s"),
    "seconds": N_("{seconds} s"),
    "conflict_reason": N_("two devices differed; read again"),
    "entry": N_("Entry"),
}
"""Texts by short name; ``{name}`` is filled in on the device."""


def words_of(ctx: Ctx) -> dict[str, str]:
    """Give the texts in the visit's language.

    Parameters
    ----------
    ctx : Ctx
        What the page is made in.

    Returns
    -------
    dict of str to str
        Texts by short name.
    """
    return {name: ctx.gettext(text) for name, text in WORDS.items()}
