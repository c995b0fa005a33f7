package readiness

import "strings"

// Decision is what a prescriber signed for a medicine, where that is no last
// dose; the codes are those of CodeSystem/medicine-decision.
type Decision string

// What may be signed beside a last dose.
const (
	DecidedLastDose Decision = ""          // a last dose: as advised, or the one that was signed
	DecidedGoOn     Decision = "go-on"     // it goes on as usual before surgery
	DecidedNotTaken Decision = "not-taken" // the person does not take it
	// DecidedOtherDose: it is taken, in a dose that the prescriber says in words for
	// the person, see [Entry].Words.
	DecidedOtherDose Decision = "other-dose"
)

// signature is the entry by which a prescriber signed for a medicine, for the
// date and the advice that stand. Only the latest round on which people said
// anything counts: what an earlier one says is past. Nor does one count that a second person
// did not agree with, or that is from before the prescriber decided anew.
func (c *Case) signature(p *Protocol, medicine string) (Entry, bool) {
	e, _, ok := c.signatureOf(p, medicine)
	return e, ok
}

// signatureOf is the same, with the round on which it stands.
func (c *Case) signatureOf(p *Protocol, medicine string) (out Entry, round int, ok bool) {
	for key, e := range c.Entries {
		if key.Repeat != medicine || key.Round <= round || e.Outcome == NoOutcome {
			continue
		}
		if s := p.Step(key.Step); s != nil && s.SignsLastDose() {
			out, round = e, key.Round
		}
	}
	of := DetailLastDose(medicine)
	ok = out.Outcome == Done && out.For[DetailDate] == c.Day.String() && out.For[of] == c.Details[of]
	if look, _ := c.look(medicine, &out, round); look == NotAgreed || c.unsaid(medicine, &out) || out.Nth < c.redecided(p, medicine) {
		ok = false
	}
	return out, round, ok
}

// lastTaken reports whether somebody recorded, for the date that stands, that the
// last dose of a medicine was taken: then the person is without it, whatever is
// signed afterwards.
func (c *Case) lastTaken(p *Protocol, medicine string) bool {
	for key, e := range c.Entries {
		if key.Repeat != medicine || e.Outcome != Done || e.For[DetailDate] != c.Day.String() || e.Nth < c.redecided(p, medicine) {
			continue
		}
		if s := p.Step(key.Step); s != nil && s.countsFrom(AnchorLastDose) {
			return true
		}
	}
	return false
}

// words says what was signed, by whom and why.
func (d Decision) words(e Entry) string {
	by := e.By
	if by == "" {
		by = "a named prescriber"
	}
	says, inWords := "goes on as usual before surgery", ""
	switch d {
	case DecidedNotTaken:
		says = "is not taken"
	case DecidedOtherDose:
		says, inWords = "is taken in another dose", ", in these words for the person: “"+e.Words+"”"
	}
	out := says + ", as " + by + " signed" + inWords
	if e.Reason != "" && inWords != "" {
		out += "; the reason"
	}
	if e.Reason != "" {
		out += ": " + strings.TrimSuffix(e.Reason, ".")
	}
	if strings.HasSuffix(out, ".”") {
		return out
	}
	return out + "."
}

// decide makes an item of a medicine not needed where a prescriber signed that
// it has no last dose. Who took the last dose already is asked all the rest.
func (d doses) decide(i *Item, name string) {
	if d.decided == DecidedLastDose || d.taken || i.Step.SignsLastDose() {
		return
	}
	i.Applies, i.Needs, i.Decided = No, nil, name+" "+d.words
}
