"""The words that stand for what the program counts in: roles, states, flags, kinds of windows.

Each is written here once in English, and looked up in the catalogues when a page shows it. Titles
of infringements stand here as well: the rule book's own title, in its own language, stands on
papers, and beside it on pages in English alone.
"""

from __future__ import annotations

from collections.abc import Mapping

from babel.support import NullTranslations

from app.appeals.queries import JUDGEMENT


def _(text: str) -> str:
    """Marks a text for the catalogues."""
    return text


KINDS = {
    "protest": _("protest"),
    "appeal": _("appeal"),
    "misapplication of rules": _("misapplication of the rules"),
    "clerical or scoring error": _("error in writing or scoring"),
    "ineligible participant": _("participant who may not take part"),
    "terms and conditions not followed": _("terms and conditions not followed"),
}
"""What a window is for, which is the ground of a protest as well where an edition tells several."""

WORDS: Mapping[str, Mapping[str, str]] = {
    "role": {
        "umpire": _("zone umpire"),
        "chief_umpire": _("chief umpire"),
        "referee": _("referee"),
        "results": _("results desk"),
        "jury": _("jury of appeal"),
        "organiser": _("organiser"),
    },
    "place": {
        "zone": _("Zone"),
        "head": _("Head official"),
        "desk": _("Results desk"),
        "jury": _("Jury"),
        "organiser": _("Organiser"),
        "crew": _("Crew"),
        "meet report": _("Meet report"),
        "board": _("Notice board"),
    },
    "shown": {
        "white": _("white"),
        "yellow": _("yellow"),
        "taken back": _("taken back"),
        "silent": _("silent"),
        "awaited": _("to come"),
        "unwatched": _("nobody watches"),
    },
    "wish": {
        "every edge of every lane watched": _("edges of lanes that nobody watches"),
        "the plan before kept": _("heats in which somebody stands elsewhere than before"),
        "breaks": _("rows of heats though a break was due"),
        "no post over the own club's lane": _("heats over the own club's lane"),
        "experience at the end of the zone": _("experienced people short at the ends of zones"),
        "as many people a zone as the template knows": _("people short of full crews"),
        "few moves": _("moves to another zone"),
        "even load": _("heats of whoever stands most"),
    },
    "zone edge": {"start": _("start"), "end": _("end")},
    "zone line": {
        "acceleration": _("beginning of the acceleration zone"),
        "start": _("start"),
        "leg line": _("leg line"),
        "end": _("end"),
    },
    "section": {
        "bend1": _("first bend"),
        "back": _("back straight"),
        "bend2": _("second bend"),
        "home": _("home straight"),
    },
    "mark": {
        "finish line": _("finish line"),
        "end of the first bend": _("end of the first bend"),
        "start of the second bend": _("start of the second bend"),
        "end of the second bend": _("end of the second bend"),
        "same line one lane inside": _("same line one lane inside"),
    },
    "aspect": {"baton": _("baton"), "receiver's foot": _("receiver's foot")},
    "happened": {
        "flag": _("yellow flag"),
        "written": _("account written"),
        "returned": _("sent back with a question"),
        "written again": _("written again"),
        "withdrawn": _("withdrawn"),
        "picture": _("picture added"),
        "confirmed": _("confirmed"),
        "dismissed": _("dismissed"),
    },
    "odd": {
        "no team in this lane": _("no team in this lane"),
        "heat was not running": _("heat was not running"),
        "came after the result was announced": _("came after the result was announced"),
        "lane outside the post": _("lane outside the post"),
        "post of somebody else": _("post of somebody else"),
        "the phone's signature does not fit what was sent": _(
            "the phone's signature does not fit what was sent"
        ),
        "signed with a key that is not known here": _("signed with a key that is not known here"),
        "signed with a key that was revoked before it came": _(
            "signed with a key that was revoked before it came"
        ),
        "called by the head of the crew": _("called by the head of the crew"),
        "post of a later crew plan": _("post of a later crew plan"),
        "by a stand-in": _("by a stand-in"),
        "shown before the heat was started": _("shown before the heat was started"),
        "from a recalled start of the heat": _("from a recalled start of the heat"),
        "post no longer in the crew plan": _("post no longer in the crew plan"),
    },
    "attested": {
        "phone key": _("signed by the phone's own key"),
        "server": _("attested by the server"),
    },
    "key": {"passkey": _("passkey"), "phone key": _("phone's own key")},
    "heat": {
        "to come": _("to come"),
        "running": _("running"),
        "judged": _("judged"),
        "announced": _("announced"),
        "final": _("final"),
        "not held": _("not held"),
        "ended": _("ended"),
    },
    "flag": {"white": _("white"), "yellow": _("yellow"), "silent": _("silent")},
    "report": {
        "raised": _("flag up, account to follow"),
        "written": _("written"),
        "returned": _("sent back with a question"),
        "ruled": _("ruled on"),
        "withdrawn": _("withdrawn"),
    },
    "case": {
        "open": _("open"),
        "ruled": _("ruled on"),
        "joined": _("joined to another"),
        "closed": _("closed with its rehearsal"),
    },
    "verdict": {
        "confirmed": _("confirmed"),
        "dismissed": _("dismissed"),
        "upheld": _("upheld"),
        "rejected": _("rejected"),
        "referred": _("referred to the jury"),
    },
    "outcome": {
        "infringement": _("infringement"),
        "no infringement": _("no infringement"),
        "cannot tell": _("cannot tell"),
    },
    "disqualification": {"in force": _("in force"), "set aside": _("set aside")},
    "protest": {
        "lodged": _("lodged"),
        "referred": _("referred to the jury"),
        "upheld": _("upheld"),
        "rejected": _("rejected"),
        "withdrawn": _("withdrawn"),
    },
    "appeal": {
        "lodged": _("lodged"),
        "late": _("late"),
        "admitted": _("admitted"),
        "upheld": _("upheld"),
        "rejected": _("rejected"),
        "withdrawn": _("withdrawn"),
    },
    "signs as": {
        "referee": _("referee"),
        "chair": _("chair of the jury"),
        "secretary": _("secretary of the panel"),
    },
    "seat": {"chair": _("chair"), "member": _("member"), "substitute": _("substitute")},
    "seat state": {
        "sits": _("sits"),
        "asked to withdraw": _("asked to withdraw"),
        "withdrawn": _("has withdrawn"),
        "waits": _("waits"),
    },
    "can sit": {
        "yes": _("can sit"),
        "asked to withdraw": _("would be asked to withdraw"),
        "no": _("cannot sit"),
    },
    "appeal mark": {
        "late": _("late"),
        "outside": _("from outside the round"),
        "no deposit": _("without deposit"),
    },
    "deposit": {
        "held": _("held"),
        "returned": _("returned"),
        "forfeited": _("forfeited"),
        "not asked": _("none is asked"),
        "to come": _("to come"),
        "not received": _("not received"),
    },
    "order": {
        "set aside": _("Set the disqualification aside"),
        "restore": _("Put the disqualification in force again"),
        "disqualify": _("Disqualify a team"),
        "correct": _("Correct a team's finish"),
        "advance": _("Let a team go on to the next round"),
        "recall": _("Take back that a team goes on"),
        "call off": _("Call a re-run off"),
        "extra lane": _("Give a team a lane in the next round"),
        "run again": _("Have some teams, or the whole heat, run again"),
        "undo": _("Take back all that a decision ordered"),
    },
    "finish": {
        "finished": _("finished"),
        "DNS": _("did not start"),
        "DNF": _("did not finish"),
    },
    "window": {"protest": _("protest"), "appeal": _("appeal")},
    "window kind": KINDS,
    "ground": {**KINDS, JUDGEMENT: _("a judgement call")},
    "opened by": {
        "what was ordered": _("what was ordered"),
        "the advice on the protest": _("the advice on the protest"),
    },
    "opener": {
        "announcement": _("from the announcement of the result"),
        "amended announcement": _("from the announcement of the amended result"),
        "advice": _("from the advice that nothing is amended"),
        "end of meet": _("from the end of the meet"),
        "any time": _("at any time"),
    },
    "window end": {"end of meet": _("after the end of the meet")},
    "notation": {
        "DNS": _("did not start"),
        "DNF": _("did not finish"),
        "DQ": _("disqualified, with the rule"),
        "FS": _("false start"),
        "Q": _("qualified by place"),
        "q": _("qualified by time"),
        "qR": _("advanced by the referee"),
        "qJ": _("advanced by the jury of appeal"),
        "qD": _("advanced by draw of lots"),
        "L": _("lane infringement without disqualification"),
        "YC": _("yellow card"),
        "YRC": _("second yellow card"),
        "RC": _("red card"),
        "r": _("retired"),
        "P": _("under protest"),
    },
    "remedies": {"protest": _("Protests"), "appeal": _("Appeals")},
    "at desk": {
        "again": _("To be announced again"),
        "judged": _("Judged: to be announced"),
        "running": _("Running, or waiting for posts"),
        "announced": _("Announced, not final yet"),
        "to come": _("To come"),
        "final": _("Final"),
        "not held": _("Not held"),
    },
    "waits for": {
        "referee": _("for the referee"),
        "jury": _("for the jury"),
        "desk": _("to be told by the desk"),
    },
    "capacity": {
        "athlete": _("athlete"),
        "on behalf of the athletes": _("on behalf of the athletes"),
        "team representative": _("team representative"),
    },
    "remedy mark": {
        "late": _("late"),
        "outside": _("not of this round"),
        "no deposit": _("no deposit"),
    },
    "letter": {
        "Q": _("by place"),
        "q": _("by time"),
        "qR": _("by the referee"),
        "qJ": _("by the jury"),
        "qD": _("by draw"),
    },
    "about": {
        "ruling": _("a ruling"),
        "placing": _("the placing"),
        "conduct": _("another team's conduct"),
        "other": _("something else"),
    },
    "mistyped": {
        "time of a protest": _("Time of the protest"),
        "time of an appeal": _("Time of the appeal"),
        "time of an advice": _("Time of the advice"),
        "time of a deposit": _("Time of the deposit"),
        "receipt of a deposit": _("Receipt of the deposit"),
        "end of the meet": _("End of the meet"),
    },
    "relay": {
        "4x100": _("4x100"),
        "4x200": _("4x200"),
        "4x400": _("4x400"),
        "4x800": _("4x800"),
        "medley": _("medley"),
    },
    "edge": {"start": _("start of the zone"), "end": _("end of the zone")},
    "side": {"inside": _("inside the track"), "outside": _("outside the track")},
    "infringement": {
        "pass_begun_before_zone": _("Pass begun before the zone"),
        "pass_completed_before_zone": _("Pass completed before the zone"),
        "pass_completed_beyond_zone": _("Pass completed beyond the zone"),
        "receiver_waiting_outside": _("Receiver waited outside the zone"),
        "receiver_starting_outside": _("Receiver started outside the zone"),
        "waiting_order_changed": _("Waiting order changed"),
        "dropped_baton": _("Baton dropped"),
        "other_teams_baton": _("Took another team's baton"),
        "help_given": _("Pushed or helped"),
        "hindered_after_pass": _("Hindered after passing"),
        "another_team_obstructed": _("Another team obstructed"),
        "left_lane_after_pass": _("Left the lane after passing"),
        "baton_not_in_hand": _("Baton not in the hand"),
        "lane_infringement": _("Stepped on or over the line"),
    },
    "problem": {
        "malformed": _("This cannot be taken as it is"),
        "file-refused": _("The file has problems"),
        "not-found": _("There is no such thing"),
        "id-taken": _("The id belongs to something else"),
        "not-possible": _("Not possible in this state"),
        "conflict": _("This contradicts what is stored"),
        "needs-word": _("This needs an explicit word"),
        "not-protestable": _("The rules give no remedy against this"),
        "affected": _("This member is asked to withdraw"),
        "stale": _("Somebody was first"),
        "etag-unknown": _("This is no ETag of this server"),
        "precondition-missing": _("Which version is meant?"),
        "not-joined": _("Join first"),
        "cross-site": _("This came from another site"),
        "role-missing": _("Your role does not allow this"),
        "not-yours": _("This belongs to somebody else"),
        "own-report": _("Nobody rules on their own report"),
        "join-refused": _("The personal link is not good"),
        "pin-refused": _("The PIN is not right"),
        "signature-refused": _("This signature or key is not good here"),
        "statement-changed": _("Something else was signed than would be recorded"),
        "shown-long-ago": _("This was shown too long ago to be signed"),
        "too-many-tries": _("Too many wrong tries"),
        "too-many-streams": _("Too many live feeds"),
        "too-much-at-once": _("Too much at once"),
        "unavailable": _("Not available just now"),
        "not-as-signed": _("This is not what was signed"),
        "bad-request": _("This request cannot be read"),
        "method-not-allowed": _("This cannot be done here"),
        "too-slow": _("This took too long"),
        "too-large": _("This is too large"),
        "media-type": _("This kind of document is not taken here"),
        "head-too-large": _("The headers are too large"),
        "unexpected": _("Something went wrong"),
    },
    "fact": {
        "clearly": _("Was it clearly outside?"),
        "touched": _("Did the receiver touch the baton there?"),
        "held_by": _("Who held the baton?"),
        "fetched_by": _("Who fetched it?"),
        "placed_by_official": _("Did an official put the runner there?"),
        "changed": _("Did waiting runners change places?"),
        "order_fixed": _("Were the incoming runners past their 200 m point?"),
        "distance_shortened": _("Was the distance shortened?"),
        "other_team_impeded": _("Was another team impeded?"),
        "dropped_at": _("Where did it fall?"),
        "went": _("Which way did it go?"),
        "returned_to_drop_point": _("Did the runner return to where it was last held?"),
        "fetched_from_inner_lane": _("Was it fetched from an inner lane?"),
        "own_lane_first": _("Did the runner come back to the own lane first?"),
        "rolled_out_of_zone": _("Did it roll out of the zone?"),
        "returned_into_zone": _("Was it brought back into the zone?"),
        "taken": _("Did the runner take another team's baton?"),
        "helped": _("Was a runner pushed or helped?"),
        "hindered": _("Was another team hindered?"),
        "wilful": _("Was it on purpose?"),
        "obstructed": _("Was another team jostled, or impeded in its running?"),
        "left_before_clear": _("Did the runner leave the lane before it was clear?"),
        "carried_otherwise": _("Was the baton carried other than in the hand, or not at all?"),
        "on_bend": _("Was it on a bend?"),
        "inner_line": _("Was it the inner line of the lane?"),
        "steps": _("How many steps in a row?"),
        "distance_gained": _("Was distance gained?"),
        "forced_out": _("Was the runner forced out of the lane?"),
    },
    "answer": {
        "yes": _("yes"),
        "no": _("no"),
        "unsure": _("not sure"),
        "incoming runner": _("incoming runner"),
        "receiver": _("receiver"),
        "both": _("both"),
        "somebody else": _("somebody else"),
        "nobody": _("nobody"),
        "inside the zone": _("inside the zone"),
        "outside the zone during the pass": _("outside the zone, during the pass"),
        "away from the zone": _("away from the zone"),
        "sideways or forward": _("sideways or forward"),
        "backward": _("backward"),
    },
}


class In:
    """The words in one language: `said("heat", "running")`."""

    def __init__(self, translations: NullTranslations) -> None:
        self._translations = translations

    def has(self, family: str, word: str) -> bool:
        """Whether a state or a kind is worded; the rule books know more than pages do."""
        return word in WORDS[family]

    def in_words(self, text: str) -> str:
        """A sentence of the service that pages translate: what a type of problem means."""
        return self._translations.ugettext(text)

    def __call__(self, family: str, word: str) -> str:
        """The words for a state or a kind; KeyError for one that nobody has worded."""
        return self._translations.ugettext(WORDS[family][word])
