package translate

import (
	"cmp"
	"encoding/json"
	"slices"
	"strings"
	"time"

	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// SystemHold is the system of the kinds of hold.
const SystemHold = Base + "/CodeSystem/hold"

// HoldKind is what CodeSystem/hold says of a kind of hold.
type HoldKind struct {
	Code, Display string
	Category      string // code of flag-category
	ReleasedBy    string // role that may release it
	After         string // event of a ground that is first heard of after the operation began; empty: none
}

func readHoldKinds(cs *fhir.Resource) map[string]HoldKind {
	out := map[string]HoldKind{}
	for _, c := range cs.Get("concept").Items() {
		k := HoldKind{Code: c.String("code"), Display: c.String("display")}
		for _, p := range c.Get("property").Items() {
			switch p.String("code") {
			case "category":
				k.Category = value(p).Text()
			case "released-by":
				k.ReleasedBy = value(p).Text()
			case "after-surgery":
				k.After = value(p).Text()
			}
		}
		out[k.Code] = k
	}
	return out
}

// HoldRow is a hold as it is stored with its case. Fields are only ever added.
type HoldRow struct {
	ID      string            `json:"id"` // of its Flag
	Key     string            `json:"k"`
	Kind    string            `json:"c"`
	Raised  time.Time         `json:"at"`
	Records []string          `json:"r"`
	Ended   time.Time         `json:"e,omitzero"`
	How     string            `json:"h,omitempty"`
	For     string            `json:"for,omitempty"`
	Seen    map[string]string `json:"s,omitempty"`
	Was     map[string]WasRow `json:"w,omitempty"`
	Stood   time.Time         `json:"since,omitzero"`
	Until   time.Time         `json:"until,omitzero"`
	// Said is the sentence under which it stands, and once it has ended the one under
	// which it stood then; EndedAs is how that ended, in words, where no person
	// released it, and Tasks are those that showed its items.
	Said    string            `json:"said,omitempty"`
	EndedAs string            `json:"end,omitempty"`
	Tasks   map[string]string `json:"t,omitempty"`
	Called  map[string]string `json:"called,omitempty"` // what each ground was last called, by record
}

// WasRow is what a ground was when it was released.
type WasRow struct {
	Class string   `json:"c,omitempty"`
	Codes []string `json:"n,omitempty"`
	Ends  string   `json:"d,omitempty"`
	Over  bool     `json:"o,omitempty"`
}

// Hold is the row as the rules read it.
func (r *HoldRow) Hold() readiness.Hold {
	h := readiness.Hold{Key: r.Key, Kind: r.Kind, Raised: r.Raised, Stood: r.Stood, Records: r.Records, Ended: r.Ended, Until: r.Until, How: r.How, Called: r.Called}
	h.For, _ = calendar.ParseDate(r.For)
	for record, day := range r.Seen {
		if h.Seen == nil {
			h.Seen = map[string]calendar.Date{}
		}
		h.Seen[record], _ = calendar.ParseDate(day)
	}
	for record, was := range r.Was {
		if h.Was == nil {
			h.Was = map[string]readiness.Was{}
		}
		ends, _ := calendar.ParseDate(was.Ends)
		h.Was[record] = readiness.Was{Class: was.Class, Codes: was.Codes, Ends: ends, Over: was.Over}
	}
	return h
}

// HoldRowOf is the stored form of a hold.
func HoldRowOf(id string, h readiness.Hold) HoldRow {
	r := HoldRow{ID: id, Key: h.Key, Kind: h.Kind, Raised: h.Raised, Stood: h.Stood, Records: h.Records, Ended: h.Ended, Until: h.Until, How: h.How, For: h.For.String(), Called: h.Called}
	for record, day := range h.Seen {
		if r.Seen == nil {
			r.Seen = map[string]string{}
		}
		r.Seen[record] = day.String()
	}
	for record, was := range h.Was {
		if r.Was == nil {
			r.Was = map[string]WasRow{}
		}
		r.Was[record] = WasRow{Class: was.Class, Codes: was.Codes, Ends: was.Ends.String(), Over: was.Over}
	}
	return r
}

// Kind is what is known of a kind of hold.
func (p *Protocol) Kind(code string) HoldKind {
	if k, ok := p.kinds[code]; ok {
		return k
	}
	return HoldKind{Code: code, Display: code}
}

// Grounds are what in a person's records may stand in the way of a booking's
// operation, and whether it has a date at all.
func (p *Protocol) Grounds(records []*Record, b *Booking, f Facility, today calendar.Date) []readiness.Ground {
	says := "the booking has no confirmed date"
	if !b.Case.Day.IsZero() {
		says = "the order for the operation is on hold"
	}
	if b.notDone != "" {
		says = b.notDone
	}
	out := slices.DeleteFunc(p.groundsOf(records, b.Members, f, today), func(g readiness.Ground) bool {
		return !g.Withdrawn && p.elsewhere(records, g.Record, b.Case.Facts)
	})
	p.unconfirmed(out, records, b, f, today)
	return append(out, readiness.Ground{Kind: readiness.KindNoDate, Record: b.Primary, Says: says, Active: b.Case.Held, Whole: true})
}

// HoldView is a hold as it is shown.
type HoldView struct {
	Row   HoldRow
	Kind  HoldKind
	Words string            // what it rests on
	Clear calendar.Date     // first day of surgery that it allows; zero: cannot be computed
	Ended string            // how it ended, in words; empty while it is open
	Items map[string]string // Task that shows an item of the case, by the item's record
	Late  string            // that it should have been raised earlier than it was, in words; empty: it was in time
}

// Keep lets a hold that has ended keep the words, and the Tasks, under which it stood
// when it did: a person answers for what could be read then. was is the hold as it was
// stored before; nil: it is new.
func (v *HoldView) Keep(was *HoldRow) {
	ended := !v.Row.Ended.IsZero()
	if was != nil && ended {
		v.Row.Said, v.Row.Tasks = was.Said, was.Tasks
		if !was.Ended.IsZero() && was.How == v.Row.How && was.EndedAs != "" {
			v.Ended = was.EndedAs
		}
	}
	if v.Row.Said == "" { // it stands, or was stored by an earlier version
		v.Row.Said = v.sentence()
	}
	if ended && v.Row.How != readiness.Released { // whoever released it may correct the reason
		v.Row.EndedAs = v.Ended
	}
}

// Sentence says the hold in one sentence: of one that has ended as it was said then.
func (v HoldView) Sentence() string {
	if !v.Row.Ended.IsZero() && v.Row.Said != "" {
		return v.Row.Said
	}
	return v.sentence()
}

func (v HoldView) sentence() string {
	out := "Held: " + strings.ToLower(v.Kind.Display)
	if v.Words != "" {
		out += " (" + v.Words + ")"
	}
	if v.Late != "" {
		out += ". " + v.Late
	}
	return out + "."
}

// LateWords say of a hold that was raised later than it stood since when it did, in
// the facility's zone; empty for one that was raised in time. Its Flag begins when
// it was raised: before that nobody could have seen it.
func (f Facility) LateWords(h readiness.Hold) string {
	if h.Stood.IsZero() {
		return ""
	}
	at := func(t time.Time) string { return t.In(f.Calendar.Zone()).Format("Mon 2 Jan 2006, 15:04") }
	return "It should have been raised on " + at(h.Stood) + ", when this case was not looked at; it was raised on " + at(h.Raised)
}

// NameOf is whom a written Reference names: its display, else what it refers to.
func NameOf(reference json.RawMessage) string {
	var r struct {
		Display, Reference string
		Identifier         struct{ Value string }
	}
	if json.Unmarshal(reference, &r) != nil {
		return ""
	}
	return cmp.Or(r.Display, r.Reference, r.Identifier.Value)
}

// TextOf is the text of a written CodeableConcept.
func TextOf(concept json.RawMessage) string {
	var c struct{ Text string }
	if json.Unmarshal(concept, &c) != nil {
		return ""
	}
	return c.Text
}

// Flag renders a hold, without id and meta.
func (f Facility) Flag(v HoldView, patient, caseID string) ([]byte, error) {
	status := r4.FlagStatusActive
	if !v.Row.Ended.IsZero() {
		status = r4.FlagStatusInactive
	}
	code := *concept(SystemHold, v.Kind.Code, v.Kind.Display)
	code.Text = optional(v.Sentence())
	g := fhir.NewFlag(status, code, *reference(patient))
	g.Identifier = []r4.Identifier{identifier(SystemCase, caseID)}
	g.Category = []r4.CodeableConcept{*concept("http://terminology.hl7.org/CodeSystem/flag-category", v.Kind.Category, "")}
	at := func(t time.Time) *string { s := t.In(f.Calendar.Zone()).Format(time.RFC3339); return &s }
	g.Period = &r4.Period{Start: at(v.Row.Raised)}
	if !v.Row.Ended.IsZero() {
		g.Period.End = at(v.Row.Ended)
	}
	var named []string
	for _, record := range v.Row.Records {
		record, _, _ = strings.Cut(record, "#") // which of its answers stands in the text
		if _, ours := readiness.ItemOf(record); ours {
			record = v.Items[record]
		}
		if record != "" && !slices.Contains(named, record) {
			named = append(named, record)
			g.Extension = append(g.Extension, r4.Extension{Url: "http://hl7.org/fhir/StructureDefinition/flag-detail", ValueReference: reference(record)})
		}
	}
	if !v.Clear.IsZero() && v.Row.Ended.IsZero() {
		day := v.Clear.String()
		g.Extension = append(g.Extension, r4.Extension{Url: ExtensionBase + "earliest-release", ValueDate: &day})
	}
	if v.Ended != "" {
		g.Extension = append(g.Extension, stringExtension("why", v.Ended))
	}
	return fhir.Marshal(g)
}
