package translate

import (
	"maps"
	"slices"
	"time"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// farthest is how many years ahead a day of surgery may be asked for. It keeps
// every date of the answer one that FHIR can write.
const farthest = 10

// Question is what a sender wants supposed, as it was sent; empty parts are as
// booked.
type Question struct {
	Surgery string // date or dateTime; a time is that of Appointment.start
	Booked  string // date
	Stay    string // code of the planned stay
}

// Supposed is a Question that was understood.
type Supposed struct {
	Day    calendar.Date
	Start  time.Time // of anaesthesia; zero: the time of day that is booked
	Booked time.Time
	Stay   string
	asked  time.Time // when the question was asked
}

// Objection says what is wrong with a parameter of a question. Text repeats
// nothing that was sent.
type Objection struct {
	Name string // of the parameter; empty: whatever the booking was named by
	Code string // of the issue
	Text string
}

func (o *Objection) Error() string { return o.Name + ": " + o.Text }

// Suppose reads a question.
func (f Facility) Suppose(q Question, p *Protocol, now time.Time) (Supposed, *Objection) {
	s := Supposed{asked: now}
	today := f.Today(now)
	if q.Surgery != "" {
		if s.Day = f.day(q.Surgery); s.Day.IsZero() {
			return s, &Objection{"surgery", fhir.CodeValue, "is not a date such as 2027-05-14, or a dateTime with a zone"}
		}
		if start := f.instant(q.Surgery); !start.IsZero() {
			s.Start = start.Add(f.StartOffset)
		}
		switch {
		case s.Day < today, !s.Start.IsZero() && s.Start.Before(now):
			return s, &Objection{"surgery", fhir.CodeBusinessRule, "lies in the past"}
		case s.Day > today.AddMonths(12*farthest):
			return s, &Objection{"surgery", fhir.CodeBusinessRule, "lies too far ahead to be counted back from"}
		}
	}
	if q.Booked != "" {
		d, err := calendar.ParseDate(q.Booked)
		if err != nil {
			return s, &Objection{"booked", fhir.CodeValue, "is not a date such as 2027-01-05"}
		}
		s.Booked = f.Calendar.At(d, 12, 0)
	}
	if q.Stay != "" && !slices.ContainsFunc(p.Stays, func(st readiness.Stay) bool { return st.Code == q.Stay }) {
		return s, &Objection{"stay", fhir.CodeInvalidCode, "is none of the stays of this protocol: " + p.stays()}
	}
	s.Stay = q.Stay
	return s, nil
}

func (p *Protocol) stays() string {
	out := ""
	for _, s := range p.Stays {
		if out != "" {
			out += ", "
		}
		out += s.Code
	}
	return out
}

// SupposeOf changes the booking to what is supposed, or says why that cannot be
// asked. known says that a case was opened for it; stands is its plan as booked.
func (f Facility) SupposeOf(b *Booking, s Supposed, stands *readiness.Plan, known bool) *Objection {
	c := &b.Case
	switch {
	case !b.Meets:
		return &Objection{"", fhir.CodeBusinessRule, "this is no operation that is planned for here: " + b.Reason}
	case c.Ending != readiness.Running:
		return &Objection{"", fhir.CodeBusinessRule, EndingWords(b)}
	case !b.Awaits:
		return &Objection{"", fhir.CodeBusinessRule, notAwaited}
	case !s.Day.IsZero() && stands.State.Begun():
		return &Objection{"surgery", fhir.CodeBusinessRule, "the operation has begun or is over, so no other day can be asked for"}
	case s.Day.IsZero() && c.Day.IsZero():
		return &Objection{"surgery", fhir.CodeRequired, "is missing: there is no day of surgery yet"}
	case s.Day.IsZero() && !known && stands.State.Begun():
		return &Objection{"surgery", fhir.CodeBusinessRule, "is missing: the day that is booked had passed when it was first heard of"}
	}
	if !s.Day.IsZero() {
		*c = c.On(s.Day, s.Start, f.Calendar)
		if hour := c.Hour(f.Calendar); !s.asked.Before(hour) { // of a day alone it is the hour that is booked
			return &Objection{"surgery", fhir.CodeBusinessRule, "the hour of the operation on that day is past: name a later day, or an hour that is still to come"}
		}
	}
	if !s.Booked.IsZero() {
		if f.Calendar.DateOf(s.Booked) > c.Day {
			return &Objection{"booked", fhir.CodeBusinessRule, "lies after the day of surgery"}
		}
		c.Booked = s.Booked
	}
	if s.Stay != "" {
		c.Stay = s.Stay
		c.Facts = withEntry(c.Facts, "stay", any(s.Stay))
		c.Details = withEntry(c.Details, "stay", s.Stay)
	}
	return nil
}

// withEntry is a copy of a map with one entry more, or another value.
func withEntry[V any](m map[string]V, name string, v V) map[string]V {
	out := make(map[string]V, len(m)+1)
	maps.Copy(out, m)
	out[name] = v
	return out
}
