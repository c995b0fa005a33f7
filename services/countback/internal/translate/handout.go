package translate

import (
	"encoding/json"
	"maps"
	"slices"
	"strings"
	"time"

	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// Handout is what the patient and the coach of one case are told, before it is
// put into words of a language.
type Handout struct {
	CaseID  string
	Name    string   // the patient's, as it is spoken; empty: not known
	Prefers []string // languages that the patient prefers: "es", "en"
	State   readiness.CaseState
	Day     calendar.Date // of surgery; zero: none
	// Unreported: it is held, its hour has passed, and nobody has said whether the
	// operation took place.
	Unreported bool
	Joint      string        // hip, knee; empty: not known
	Side       string        // left, right, both; empty: not known
	Approved   bool          // the protocol is one that the hospital signed
	Decides    string        // role of whoever signs for medicines: its code
	Lines      []HandoutLine // in the protocol's order
	GoesOn     []GoesOn      // medicines that go on as usual, by name
	NotTaken   []GoesOn      // medicines that were signed not to be taken, by name
	OtherDose  []GoesOn      // medicines that are taken in another dose, by name
	Listed     []Listed      // every medicine on record, in the case's order
	Stranded   bool          // a medicine is, or was to be, stopped for what no longer holds, and the prescriber has not answered
	Untold     bool          // the day changed, and nobody has told the person yet
	Sequence   int64         // of the case's last event: rises with everything that is told of the case
	Changed    time.Time     // when the plan last changed
}

// HandoutLine is one item as the patient and the coach may be told of it.
type HandoutLine struct {
	TaskID  string
	Version int64     // of the Task
	Changed time.Time // when that version was written
	Item    readiness.Item
	Part    string            // of the sheet
	Says    map[string]Spoken // by language
	// Medicine is the medicine that the item is for, as the record names it.
	Medicine string
	// SignedBy is the prescriber who signed the last dose of the medicine for the
	// date that stands; empty: nobody whose name is known.
	SignedBy string
}

// GoesOn is a medicine of which a named prescriber signed, for the date that
// stands, that it goes on as usual before surgery, is not taken, or is taken in
// another dose, which Words then say as they were signed.
type GoesOn struct{ Medicine, SignedBy, Words string }

// Listed is a medicine on record, and whether a prescriber is asked about it.
type Listed struct {
	Medicine string
	Asked    bool
}

// Own reports whether the step is one that the patient or the coach does: where
// they only take part, whoever leads it stands first.
func (l *HandoutLine) Own() bool {
	p := l.Item.Step.Performers
	return len(p) > 0 && p[0].Kind != readiness.Staff
}

// HandoutRow is a stored item with what the store knows of it.
type HandoutRow struct {
	Row      *Row
	TaskID   string
	Version  int64
	Changed  time.Time
	Protocol *Protocol // that it was written by
}

// HandoutView is what a handout is made from.
type HandoutView struct {
	CaseID     string
	State      readiness.CaseState
	Sequence   int64
	Changed    time.Time
	Day        string         // of surgery, as it was planned; empty: none
	Unreported bool           // as it was planned
	Facts      map[string]any // of the case, as it was planned
	Booking    *Booking       // nil: it is gone
	Patient    *fhir.Resource // nil: not received
	Rows       []HandoutRow
	// NameOf gives the name of a professional by reference; empty: not known.
	NameOf func(reference string) string
}

// Handout gathers what the patient and the coach are told.
func (f Facility) Handout(v HandoutView, p *Protocol) Handout {
	h := Handout{CaseID: v.CaseID, State: v.State, Approved: p.Approved, Unreported: v.Unreported, Sequence: v.Sequence, Changed: v.Changed}
	medicines := map[string]string{}
	h.Day, _ = calendar.ParseDate(v.Day)
	h.Joint, _ = v.Facts["joint"].(string)
	h.Side, _ = v.Facts["side"].(string)
	if v.Booking != nil {
		for _, m := range v.Booking.Case.Medicines {
			medicines[m.Key] = m.Name
			asked := m.Key != "" && slices.Contains(v.Booking.Case.Repeats[RepeatMedicine], m.Key)
			h.Listed = append(h.Listed, Listed{m.Name, asked})
		}
	}
	if v.Patient != nil {
		h.Name, h.Prefers = SpokenName(v.Patient), Prefers(v.Patient)
	}
	for n := range p.Steps {
		if decides(&p.Steps[n]) {
			h.Decides = p.Steps[n].Performers[0].Role
		}
	}
	signed := f.signatures(v, h.Day)
	for key, s := range signed { // signed before a rule left the dose to the prescriber
		if s.decided == readiness.DecidedGoOn && v.Booking != nil && v.Booking.Case.SetsDose(key) {
			delete(signed, key)
		}
	}
	for _, r := range v.Rows {
		item := r.Row.Item(r.Protocol, f)
		l := HandoutLine{
			TaskID: r.TaskID, Version: r.Version, Changed: r.Changed, Item: item,
			Part: r.Protocol.Part(item.Step.Code), Says: r.Protocol.spoken[item.Step.Code].says,
		}
		if item.Key.Repeat != "" {
			l.Medicine = medicines[item.Key.Repeat]
		}
		h.Stranded = h.Stranded || item.Step.Trigger == readiness.TriggerStopped && item.State.Waiting()
		h.Untold = h.Untold || item.Step.Trigger == readiness.TriggerTold && item.State.Waiting()
		if l.Part == PartMedicine {
			s := signed[item.Key.Repeat]
			if item.Key.Repeat != "" && !item.Due.IsZero() && len(item.Waits) == 0 && s.covers(item.Due) {
				l.SignedBy = s.by
			}
		}
		h.Lines = append(h.Lines, l)
	}
	h.GoesOn = decided(readiness.DecidedGoOn, signed, medicines, h.Lines)
	h.NotTaken = decided(readiness.DecidedNotTaken, signed, medicines, h.Lines)
	h.OtherDose = decided(readiness.DecidedOtherDose, signed, medicines, h.Lines)
	return h
}

// decided lists the medicines that were signed to go on, as usual or in another
// dose, or not to be taken, by a prescriber whose name is known. One of which somebody says that the last dose was
// taken is left out: what to do then is asked, and no sheet answers it.
func decided(what readiness.Decision, signed map[string]signature, names map[string]string, lines []HandoutLine) []GoesOn {
	var out []GoesOn
	for _, key := range slices.Sorted(maps.Keys(signed)) {
		s := signed[key]
		stopped := slices.ContainsFunc(lines, func(l HandoutLine) bool {
			return l.Part == PartMedicine && l.Item.Key.Repeat == key && l.Item.State == readiness.StateDone
		})
		if s.decided == what && s.by != "" && names[key] != "" && !stopped {
			out = append(out, GoesOn{Medicine: names[key], SignedBy: s.by, Words: s.words})
		}
	}
	return out
}

// decides reports whether a step is the one in which a named professional decides
// on each medicine.
func decides(s *readiness.Step) bool { return s.Named && s.RepeatFor != "" && len(s.Performers) > 0 }

// signature is who signed a medicine's last dose, and which.
type signature struct {
	by      string
	moment  readiness.Moment // zero: as advised
	decided readiness.Decision
	words   string // of another dose
}

// covers reports whether the last dose at m is what was signed. Who signed no day
// signed the advised one; when the advice changes, it is asked again.
func (s signature) covers(m readiness.Moment) bool {
	return s.by != "" && s.decided == readiness.DecidedLastDose && (s.moment.IsZero() || s.moment.Day == m.Day && s.moment.At.Equal(m.At))
}

// signatures are the last doses that stand signed for the date, by medicine.
func (f Facility) signatures(v HandoutView, day calendar.Date) map[string]signature {
	out := map[string]signature{}
	for _, r := range v.Rows {
		item := r.Row.Item(r.Protocol, f)
		if !decides(item.Step) {
			continue
		}
		stands := item.State == readiness.StateDone && item.Entry.Outcome == readiness.Done && item.Entry.For[readiness.DetailDate] == day.String()
		if stands {
			out[item.Key.Repeat] = signature{ownerName(r.Row.Work, v.NameOf), item.Entry.Signed, item.Entry.Decided, item.Entry.Words}
		}
	}
	return out
}

// ownerName is the name of the Task's owner as people wrote it, else as the
// record of the professional has it.
func ownerName(w *Work, nameOf func(string) string) string {
	if w == nil || w.Owner == nil {
		return ""
	}
	var owner r4.Reference
	if json.Unmarshal(w.Owner, &owner) != nil {
		return ""
	}
	if owner.Display != nil && strings.TrimSpace(*owner.Display) != "" {
		return strings.TrimSpace(*owner.Display)
	}
	if owner.Reference != nil && nameOf != nil {
		return nameOf(*owner.Reference)
	}
	return ""
}

// SpokenName is the name by which a person is addressed: the official one, else
// the first that is not an old one.
func SpokenName(r *fhir.Resource) string {
	best := ""
	for _, n := range r.Get("name").Items() {
		if n.String("use") == "old" || n.String("period", "end") != "" {
			continue
		}
		words := n.String("text")
		if words == "" {
			var parts []string
			for _, list := range []string{"prefix", "given"} {
				for _, p := range n.Get(list).Items() {
					parts = append(parts, p.Text())
				}
			}
			words = strings.Join(append(parts, n.String("family")), " ")
		}
		if words = strings.TrimSpace(words); words == "" {
			continue
		}
		if n.String("use") == "official" {
			return words
		}
		if best == "" {
			best = words
		}
	}
	return best
}

// Prefers are the languages that a person is said to prefer, each as its first
// subtag: "es".
func Prefers(r *fhir.Resource) []string {
	var out []string
	for _, c := range r.Get("communication").Items() {
		if !c.Get("preferred").Bool() {
			continue
		}
		for _, coding := range c.Get("language", "coding").Items() {
			if lang, _, _ := strings.Cut(strings.ToLower(coding.String("code")), "-"); lang != "" {
				out = append(out, lang)
			}
		}
	}
	return out
}
