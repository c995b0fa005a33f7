package sheet

import (
	"slices"
	"strings"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/translate"
)

// current reports whether the item is one that is, or will be, asked for, or
// that was just done: nothing that is called off or that another replaced.
func current(l *translate.HandoutLine) bool {
	switch l.Item.State {
	case readiness.StateWaived, readiness.Needless, readiness.Expired:
		return false
	}
	return l.Item.Applies == readiness.Yes
}

// GoesAhead reports whether a case in this state leads to surgery as planned, or
// has it behind it.
func GoesAhead(s readiness.CaseState) bool {
	switch s {
	case readiness.CaseReady, readiness.CaseOnTrack, readiness.CaseBehind, readiness.CaseArrived, readiness.CaseHome:
		return true
	}
	return false
}

// Tells reports whether the patient and the coach are told of an item of a case
// in this state: it applies to them, and does not wait.
func Tells(h *translate.Handout, l *translate.HandoutLine) bool {
	if !current(l) || l.Item.State == readiness.Paused {
		return false
	}
	switch h.State {
	case readiness.CaseCancelled, readiness.CaseClosed:
		return false
	case readiness.CaseHome, readiness.CaseArrived: // what lies behind the person is no longer asked
		if l.Item.State == readiness.Missed || l.Item.State == readiness.StateDone {
			return false
		}
	case readiness.CaseReady, readiness.CaseOnTrack, readiness.CaseBehind:
	default: // held, infeasible: what a hold pauses must not read as if it stood
		if l.Item.Step.PausesOnHold {
			return false
		}
	}
	return true
}

func (b *builder) tells(l *translate.HandoutLine) bool { return Tells(b.h, l) }

// parts fills the steps into the parts of the sheet in which they stand.
func (b *builder) parts(p *Page) {
	var done []string
	elsewhere := map[string]string{translate.PartBag: "bag", translate.PartWash: "washes"}
	for _, l := range b.told() {
		if l.Part == translate.PartMedicine {
			p.Medicines = append(p.Medicines, b.medicine(l))
			continue
		}
		s := b.step(l)
		p.Steps = append(p.Steps, s)
		if s.Done {
			done = append(done, s.Title)
			continue // how it was to be done is of no use any more
		}
		switch l.Part {
		case translate.PartFasting:
			if l.Item.Due.IsZero() {
				p.FastingUnknown = true
			}
			p.Fasting = append(p.Fasting, s)
		case translate.PartBag:
			p.Bag = append(p.Bag, s)
		case translate.PartWash:
			p.Washes = append(p.Washes, s)
		default:
			p.add(s)
			continue
		}
		if part := elsewhere[l.Part]; part != "" { // what to do stands in a part of its own
			s.Sentences = []string{b.say("see-part", "part", b.say(part))}
		}
		p.add(s)
	}
	if len(done) > 0 {
		p.Done = capital(b.say("state-done")) + ": " + strings.Join(done, "; ") + "."
	}
	p.MedicineRule = !b.home() && b.h.State != readiness.CaseCancelled
	if p.MedicineRule && b.h.State != readiness.CaseArrived {
		b.listed(p)
	}
}

// listed names every medicine on record that no line told: what a named prescriber
// signed of it, or that nobody has signed anything, and to ask.
func (b *builder) listed(p *Page) {
	for _, g := range b.h.GoesOn {
		p.Medicines = append(p.Medicines, Medicine{Name: g.Medicine, Text: b.say("medicines-go-on", "name", g.SignedBy)})
	}
	for _, g := range b.h.OtherDose {
		p.Medicines = append(p.Medicines, Medicine{
			Name: g.Medicine, Text: b.say("medicines-other-dose", "name", g.SignedBy), Quote: g.Words, Sentences: []string{b.say("medicines-other-dose-ask")},
		})
	}
	for _, g := range b.h.NotTaken {
		p.Medicines = append(p.Medicines, Medicine{Name: g.Medicine, Text: b.say("medicines-not-taken", "name", g.SignedBy)})
	}
	var others []string
	for _, l := range b.h.Listed {
		switch {
		case l.Medicine == "" || slices.ContainsFunc(p.Medicines, func(m Medicine) bool { return m.Name == l.Medicine }):
		case l.Asked:
			p.Medicines = append(p.Medicines, Medicine{Name: l.Medicine, Text: b.ask(b.h.Decides)})
		default:
			others = append(others, l.Medicine)
		}
	}
	if len(others) > 0 {
		p.Medicines = append(p.Medicines, Medicine{Name: strings.Join(others, ", "), Text: b.say("medicines-unsigned")})
	}
}

// add puts a step under its span of time. What stands in one span is told
// together, so that no date is read twice.
func (p *Page) add(s Step) {
	n := slices.IndexFunc(p.Days, func(d Day) bool { return d.When == s.When })
	if n < 0 {
		n = len(p.Days)
		p.Days = append(p.Days, Day{When: s.When})
	}
	p.Days[n].Steps = append(p.Days[n].Steps, s)
}

func (b *builder) step(l *translate.HandoutLine) Step {
	words := b.words(l)
	out := Step{
		When: capital(b.when(l)), Who: b.who(l), Title: words.Title, Done: l.Item.State == readiness.StateDone,
		Sentences: sentencesOf(words.Text),
	}
	switch {
	case out.Done:
		out.Remark = b.say("state-done")
	case l.Item.State == readiness.Late:
		out.Remark = b.say("state-late")
	case l.Item.State == readiness.Missed:
		out.Remark = b.say("state-missed")
	case l.Item.Key.Round > 1:
		out.Remark = b.say("again")
	}
	return out
}

// words are those of the step in the sheet's language. A step that lacks it is
// told in the language of the protocol: a foreign word is better than a gap.
func (b *builder) words(l *translate.HandoutLine) translate.Spoken {
	if w, ok := l.Says[b.lang]; ok {
		return w
	}
	return l.Says[translate.English]
}

// when says the window in words. What is open, or late, is only told by its end.
func (b *builder) when(l *translate.HandoutLine) string {
	i := &l.Item
	switch {
	case i.Due.IsZero() && i.Opens.IsZero():
		return b.say("when-told")
	case i.Due.IsZero():
		return b.say("when-from", "a", b.moment(i.Opens))
	case i.Compressed && i.State.Waiting():
		return b.say("when-soon")
	case l.Part == translate.PartFasting, i.Opens.Day == i.Due.Day:
		return b.say("when-on", "a", b.moment(i.Due))
	case i.Opens.IsZero(), i.Opens.Day <= b.o.PrintedOn:
		return b.say("when-by", "b", b.moment(i.Due))
	}
	return b.say("when-between", "a", b.moment(i.Opens), "b", b.moment(i.Due))
}

func (b *builder) who(l *translate.HandoutLine) string {
	patient, coach := false, false
	for _, p := range l.Item.Step.Performers {
		patient = patient || p.Kind == readiness.Patient
		coach = coach || p.Kind == readiness.Related
	}
	switch {
	case patient && coach:
		return b.say("who-both")
	case coach:
		return b.say("who-coach")
	}
	return b.say("who-patient")
}

// Signed reports whether a line that tells to stop or time a medicine may be
// told with its day: a named prescriber signed exactly that.
func Signed(l *translate.HandoutLine) bool {
	return l.Part != translate.PartMedicine || l.SignedBy != "" && !l.Item.Due.IsZero()
}

func (b *builder) medicine(l *translate.HandoutLine) Medicine {
	out := Medicine{Name: l.Medicine, Signed: Signed(l)}
	words := b.words(l)
	if out.Name == "" {
		out.Name = words.Title
	}
	if !out.Signed {
		out.Text = b.ask(b.h.Decides)
		return out
	}
	out.Text = b.say("medicines-last", "when", b.moment(l.Item.Due), "name", l.SignedBy)
	out.Sentences = sentencesOf(words.Text)
	return out
}

func (b *builder) ask(role string) string {
	id := "role-" + role
	if !b.has(id) {
		id = "role-other"
	}
	return b.say("medicines-ask", "role", b.say(id))
}
