package readiness

import (
	"fmt"
	"time"

	"example.org/countback/pkg/calendar"
)

// TriggerMove is raised when somebody asks whoever books for another day of
// surgery. The day itself moves only when the booking does; until then the ask is
// an item like others, which nothing is counted from.
const TriggerMove = "another-day-asked"

// Ask is a person's request for another day of surgery.
type Ask struct {
	Key     string        // of what it raises, see Raised.Key
	Day     calendar.Date // that is asked for
	Instead calendar.Date // what was booked when it was asked; zero: no day
	At      time.Time
	By      string // the name of who asks
	Reason  string
	Against string        // why the protocol could not meet that day; empty: it could
	Met     string        // names the version of the booking that came with that day; empty: none did
	MetOn   calendar.Date // when
}

// Open reports whether the booking has not come with the day.
func (a *Ask) Open() bool { return a.Met == "" }

// Raise brings an ask into the case. One that the booking met is done by that
// version of it, for good. One that is still open when the operation begins is
// not asked for any more.
func (c *Case) Raise(a Ask, p *Protocol, begun bool) {
	if a.Open() && begun {
		return
	}
	c.Raised = append(c.Raised, Raised{Trigger: TriggerMove, Key: a.Key, At: a.At, Why: a.words(), By: a.By, Day: a.Day})
	if a.Open() {
		return
	}
	if c.Proofs == nil {
		c.Proofs = map[Key][]Proof{}
	}
	for n := range p.Steps {
		if s := &p.Steps[n]; s.Trigger == TriggerMove {
			c.Proofs[Key{Step: s.Code, Repeat: a.Key}] = []Proof{{Record: a.Met, On: a.MetOn}}
		}
	}
}

// words say who asks for what, and why.
func (a *Ask) words() string {
	was := "there was no day then"
	if !a.Instead.IsZero() {
		was = "the booking said " + a.Instead.Format(dayLayout) + " then"
	}
	out := fmt.Sprintf("%s asks for %s (%s): %s", a.By, a.Day.Format(dayLayout), was, ended(a.Reason))
	if a.Against != "" {
		out += " " + ended(a.Against)
	}
	return out
}

// ended ends a sentence.
func ended(s string) string {
	if s == "" || s[len(s)-1] == '.' {
		return s
	}
	return s + "."
}
