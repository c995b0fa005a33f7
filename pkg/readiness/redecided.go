package readiness

// AsksPrescriber reports whether the step asks what becomes of a medicine that is
// stopped, or about to be: it is done only with what was decided.
func (s *Step) AsksPrescriber() bool {
	return s.Trigger == TriggerStopped || s.Trigger == TriggerStopDay
}

// redecided is the number of the latest answer that a prescriber gave to what
// becomes of a medicine that was stopped; 0: they gave none. What was signed for it,
// or recorded as its last dose, before that answer counts no more, on whatever date:
// the person may be taking it again.
func (c *Case) redecided(p *Protocol, medicine string) int64 {
	var last int64
	for key, e := range c.Entries {
		if e.Outcome != Done || e.Nth <= last || medicineOf(key.Repeat) != medicine {
			continue
		}
		if s := p.Step(key.Step); s != nil && s.Trigger == TriggerStopped {
			last = e.Nth
		}
	}
	return last
}

// redecided reports whether the item's entry, a signature or a last dose that
// somebody recorded, is from before the prescriber decided anew on the medicine.
func (i *Item) redecided(c *Case, p *Protocol) bool {
	if i.Entry.Record != "" || !i.Step.SignsLastDose() && !i.Step.TakesLastDose() {
		return false
	}
	return i.Entry.Nth < c.redecided(p, i.Key.Repeat)
}
