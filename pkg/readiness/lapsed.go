package readiness

import "strings"

// lapsedWords say what became of a ground that an item gave and that stands no more.
// Where it is not known for sure, they say no more than that.
func (c *Case) lapsedWords(record string, key Key) string {
	switch {
	case key.Repeat != "" && c.medicine(key.Repeat) == nil:
		return "the record of the medicine is not there any more"
	case strings.Contains(record, unseenOf):
		return c.lookWords(key.Repeat)
	}
	return "what was wrong is settled or the date moved"
}

// lookWords say why the signature for a medicine does not wait for another person to
// look at it any more.
func (c *Case) lookWords(medicine string) string {
	out := "it is signed otherwise by now"
	for n := range c.Raised {
		r := &c.Raised[n]
		if r.Trigger != TriggerLateSigned || medicineOf(r.Key) != medicine {
			continue
		}
		look := NotLooked
		for key, e := range c.Entries {
			if key.Repeat == r.Key && e.Look != NotLooked {
				look = e.Look
			}
		}
		switch {
		case r.For != c.Day:
			out = "the date moved"
		case look == Agreed:
			out = "a second person looked at what was signed and agreed"
		case look == NotAgreed:
			out = "a second person looked at what was signed and did not agree"
		}
	}
	return out
}
