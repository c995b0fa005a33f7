package readiness

// SetsDose reports whether the dose of a medicine around surgery is the
// prescriber's to say, by a rule that fits it, or that may while facts are missing:
// then nobody may sign that it goes on as usual.
func (c *Case) SetsDose(medicine string) bool {
	m := c.medicine(medicine)
	if m == nil {
		return false
	}
	known, _ := c.medicineFacts(m)
	for _, r := range m.Rules {
		if !r.SetsDose {
			continue
		}
		if r.Condition == nil {
			return true
		}
		if applies, _ := r.Condition.Holds(r.facts(m, known)); applies != No {
			return true
		}
	}
	return false
}

// unsaid reports whether a signature says that a medicine goes on as usual whose
// dose the prescriber must say: it was signed before a rule asked for that, and
// does not count.
func (c *Case) unsaid(medicine string, e *Entry) bool {
	return e.Outcome == Done && e.Decided == DecidedGoOn && c.SetsDose(medicine)
}
