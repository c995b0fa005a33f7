package translate

import (
	"encoding/json"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// Elements of a Task that people write, and those that a sent Task may carry
// in any form because they are ours.
var (
	taskWritable = []string{"status", "statusReason", "owner", "note", "output", "executionPeriod"}
	taskIgnored  = []string{"resourceType", "id", "meta", "text", "businessStatus", "lastModified"}
)

// Reasons with which a person may cancel a Task.
const (
	ReasonWaived    = "waived"
	ReasonNotNeeded = "not-needed"
)

// open is the statuses of a Task that asks for something now.
var openStatuses = []string{"requested", "received", "accepted", "ready", "in-progress"}

// ReadWork reads what a person wrote on a Task: sent is the Task as it came,
// current the Task as it stands, item and row what it was rendered from.
// snapshot is what the case stands at now, for evidence that counts for one
// date only. Any change of an element that people do not write is an issue.
func (f Facility) ReadWork(sent, current *fhir.Resource, row *Row, item *readiness.Item, o WorkOptions) (*Work, fhir.Issues) {
	issues := foreignChanges(sent, current)
	if len(issues) > 0 {
		return nil, issues
	}
	changed := func(name string) bool { return !same(sent.Get(name), current.Get(name)) }
	if !slices.ContainsFunc(taskWritable, changed) {
		return row.Work, nil
	}
	w := &Work{}
	if row.Work != nil {
		*w = *row.Work
	}
	w.StatusReason = sent.Bytes(sent.Get("statusReason"))
	w.Owner = sent.Bytes(sent.Get("owner"))
	w.Note = sent.Bytes(sent.Get("note"))
	w.Output = sent.Bytes(sent.Get("output"))
	w.ExecutionPeriod = sent.Bytes(sent.Get("executionPeriod"))
	if row.Record != "" && !changed("executionPeriod") {
		w.ExecutionPeriod = nil // the record's, not the person's
	}
	signed := w.Outcome == readiness.Done && (item.Step.SignsLastDose() || item.Step.Trigger == readiness.TriggerLateSigned)
	switch {
	case sent.String("status") != row.Status:
		w.Signed, w.Decision, w.Words, w.Meant, w.Look = "", "", "", "", ""
		issues = f.move(w, sent, current, row, item, o)
	case signed && len(resigned(changed)) > 0:
		issues = resigned(changed)
	case w.Outcome != readiness.Done && row.Record != "" && item.Step.Trigger == readiness.TriggerUnreported && changed("output"):
		issues = refuse("output", "business-rule", "Task.output: a record has answered this already, and counts: "+row.Record+"; have it corrected where it was written, or ask again first (status requested, with statusReason.text)")
	case w.Meant != "" && changed("output"):
		issues = refuse("output", "business-rule", "Task.output is what was answered: take the answer back first (status requested, with statusReason.text), and answer again")
	case w.Outcome == readiness.Done && changed("owner") && len(stripped(sent, item.Step)) > 0:
		issues = stripped(sent, item.Step)
	case w.Outcome == readiness.Done && changed("executionPeriod"):
		issues = f.redate(w, sent, item, o)
	case w.Outcome == readiness.Done && item.Step.Trigger == readiness.TriggerUnreported && changed("output"):
		issues = f.happened(sent, item, o)
	case changed("statusReason"):
		issues = reword(w, sent, item)
	}
	if len(issues) > 0 {
		return nil, issues
	}
	return w, nil
}

// WorkOptions is what the person's entry is judged by.
type WorkOptions struct {
	Today    calendar.Date
	Now      time.Time
	Snapshot map[string]string
	Advised  readiness.Moment // the last dose that the rules give for the item's medicine; zero: none
	SetsDose bool             // a rule on it leaves the dose around surgery to the prescriber
	// Of a second look: the owner of the Task with the signature that it is about.
	Signer json.RawMessage
	// Of the release of a hold: the owners of the Tasks with the signatures that it
	// rests on and at which nobody else has looked.
	Unseen []json.RawMessage
	// Known is what the records say of who is meant by a reference; nil: nothing.
	Known func(reference string) Professional
}

// foreignChanges names every element that differs and is not the people's.
func foreignChanges(sent, current *fhir.Resource) fhir.Issues {
	var out fhir.Issues
	seen := map[string]bool{}
	check := func(name string) {
		if seen[name] || slices.Contains(taskWritable, name) || slices.Contains(taskIgnored, name) {
			return
		}
		seen[name] = true
		if !same(sent.Get(name), current.Get(name)) {
			out = append(out, fhir.Issue{
				Severity: fhir.SeverityError, Code: "business-rule", Expression: "Task." + name,
				Text: "Task." + name + " cannot be changed here: send the Task as it was read, with only status, statusReason, owner, note, output or executionPeriod changed",
			})
		}
	}
	for name := range sent.Root().Members() {
		check(name)
	}
	for name := range current.Root().Members() {
		check(name)
	}
	return out
}

// same compares two values; the order of an object's members means nothing.
func same(a, b *fhir.Node) bool {
	if a.Kind() != b.Kind() || a.Len() != b.Len() || a.Text() != b.Text() {
		return false
	}
	switch a.Kind() {
	case fhir.Object:
		for name, v := range a.Members() {
			if !same(v, b.Get(name)) {
				return false
			}
		}
	case fhir.Array:
		for n, v := range a.Items() {
			if !same(v, b.Item(n)) {
				return false
			}
		}
	}
	return true
}

// move applies the status that was sent, if that move is legal.
func (f Facility) move(w *Work, sent, current *fhir.Resource, row *Row, item *readiness.Item, o WorkOptions) fhir.Issues {
	from, to := row.Status, sent.String("status")
	if issues := staysAsked(to, item); len(issues) > 0 {
		return issues
	}
	allowed := openTo(item, movesFrom(from))
	answers := from == "draft" && item.Applies == readiness.Unknown && !item.Step.TakesLastDose()
	if answers { // "yes, it applies"
		allowed = append(allowed, "requested")
	}
	if !slices.Contains(allowed, to) {
		return refuse("status", "business-rule", "Task.status cannot go from "+from+" to "+to+"; open moves are: "+list(allowed))
	}
	correction := from == "completed" || from == "cancelled" || from == "failed"
	if correction && reasonText(sent) == "" {
		return refuse("statusReason", "required", "Task.statusReason is missing: a correction says why in statusReason.text")
	}
	switch {
	case to == "completed":
		return f.done(w, sent, current, item, o)
	case to == "cancelled":
		return cancel(w, sent, item)
	case to == "failed":
		return fail(w, sent, o)
	case answers:
		w.Outcome = readiness.Applies
	default:
		if w.Outcome != readiness.Applies {
			w.Outcome = readiness.NoOutcome
		}
		w.Reason, w.Status, w.On, w.For = "", to, "", nil
		if row.Record != "" { // what a record shows is taken back
			w.Against = row.Record
		}
		if to == "requested" {
			w.Status = ""
		}
		if correction { // both spoke of the state that is taken back
			w.StatusReason, w.ExecutionPeriod, w.Output = nil, nil, Unsigned(w.Output)
		}
	}
	return nil
}

// movesFrom lists the statuses a person may set. Early work is welcome, so a
// draft may be completed at once; a paused item waits for its hold.
func movesFrom(status string) []string {
	switch status {
	case "draft":
		return []string{"completed", "cancelled"}
	case "completed", "cancelled":
		return []string{"requested"}
	case "failed":
		return []string{"requested", "completed"}
	case "on-hold":
		return nil
	}
	out := []string{"completed", "cancelled", "failed"}
	for _, s := range openStatuses {
		if s != status {
			out = append(out, s)
		}
	}
	return out
}

func list(moves []string) string {
	if len(moves) == 0 {
		return "none while the case is held"
	}
	return strings.Join(moves, ", ")
}

// redate corrects the day of the evidence of what is done already.
func (f Facility) redate(w *Work, sent *fhir.Resource, item *readiness.Item, o WorkOptions) fhir.Issues {
	end := sent.String("executionPeriod", "end")
	if end == "" {
		return refuse("executionPeriod.end", "required", "Task.executionPeriod.end cannot be taken away: it is the day on which the step was done")
	}
	on, issues := f.evidence(end, item, o)
	w.On = on.String()
	return issues
}

// reword corrects the reason of what is waived, not needed or failed already.
func reword(w *Work, sent *fhir.Resource, item *readiness.Item) fhir.Issues {
	switch w.Outcome {
	case readiness.Waived, readiness.NotNeeded:
		return cancel(w, sent, item)
	case readiness.Failed:
		return fail(w, sent, WorkOptions{Snapshot: w.For}) // still for the date that it failed for
	}
	return nil
}

// evidence reads the day on which something was done.
func (f Facility) evidence(end string, item *readiness.Item, o WorkOptions) (calendar.Date, fhir.Issues) {
	on := f.day(end)
	switch {
	case on.IsZero():
		return 0, refuse("executionPeriod.end", "value", "Task.executionPeriod.end must name at least a day")
	case on > o.Today:
		return 0, refuse("executionPeriod.end", "business-rule", "Task.executionPeriod.end lies in the future: what is done has a day that is past or today")
	case item.TooEarly(on):
		return 0, tooEarly(item)
	}
	return on, nil
}

func (f Facility) done(w *Work, sent, current *fhir.Resource, item *readiness.Item, o WorkOptions) fhir.Issues {
	if item.Step.Trigger == readiness.TriggerMove {
		return refuse("status", "business-rule", "Task.status: another day is booked where bookings are made, and this is completed by the booking that comes with it; decline it with the status failed, or take it back with cancelled, and a reason")
	}
	if item.Step.Trigger == readiness.TriggerHold {
		if issues := released(sent, o); len(issues) > 0 {
			return issues
		}
	}
	if item.Step.Trigger == readiness.TriggerUnreported {
		if issues := f.happened(sent, item, o); len(issues) > 0 {
			return issues
		}
	}
	on := o.Today
	end := sent.String("executionPeriod", "end")
	if end != "" {
		var issues fhir.Issues
		if on, issues = f.evidence(end, item, o); len(issues) > 0 {
			return issues
		}
	} else if item.TooEarly(on) {
		return tooEarly(item)
	}
	if unnamed(sent, item.Step) {
		return refuse("owner", "required", "Task.owner is missing, or names no person: this step counts only with the professional who answers for it named as its owner, by reference, identifier or display")
	}
	if undecided(sent, current, item.Step) {
		return refuse("statusReason.text", "required", "Task.statusReason.text is missing: say what the prescriber decided, there or in a note")
	}
	w.Reason = ""
	if issues := append(f.sign(w, sent, item, o), f.looks(w, sent, item, o)...); len(issues) > 0 {
		return issues
	}
	if issues := meant(w, sent, item); len(issues) > 0 {
		return issues
	}
	w.Outcome, w.On, w.For, w.Status = readiness.Done, on.String(), o.Snapshot, ""
	w.Until = f.until(sent)
	if end == "" && !sent.Get("executionPeriod").Exists() {
		w.ExecutionPeriod = json.RawMessage(`{"end":"` + on.String() + `"}`)
	}
	return nil
}

// ownedByPerson reports whether an owner is a member of staff with a name or number: a
// Practitioner or PractitionerRole, or, where no other kind is said, a display
// that names somebody, or an identifier.
func ownedByPerson(owner *fhir.Node) bool {
	ref, _, _ := strings.Cut(owner.String("reference"), "/_history/")
	kind := owner.String("type")
	if i := strings.LastIndex(ref, "/"); i > 0 && kind == "" {
		kind = ref[strings.LastIndex(ref[:i], "/")+1 : i]
	}
	if kind != "" && kind != "Practitioner" && kind != "PractitionerRole" {
		return false
	}
	if name := owner.String("display"); name != "" {
		return namesSomebody(name)
	}
	return ref != "" || strings.TrimSpace(owner.String("identifier", "value")) != "" && owner.String("identifier", "system") != ""
}

// namesSomebody reports whether a text holds a word of two letters or more that is
// part of a name: "Dr Wendeline Thatchmarsh", and not "the surgeon" or "unknown".
func namesSomebody(text string) bool {
	return slices.ContainsFunc(lettersOf(text), func(word string) bool {
		return utf8.RuneCountInString(word) >= 2 && !theWords().ofNobody[fold(word)] && !theWords().small[word]
	})
}

// tooEarly refuses what cannot have been done yet: a wash before its day, the
// call after a discharge that has not been.
func tooEarly(item *readiness.Item) fhir.Issues {
	return refuse("executionPeriod.end", "business-rule", "Task.executionPeriod.end: this step can be done from "+item.Opens.Words()+" on, and counts from then on only")
}

func fail(w *Work, sent *fhir.Resource, o WorkOptions) fhir.Issues {
	if reasonText(sent) == "" {
		return refuse("statusReason", "required", "Task.statusReason is missing: say in statusReason.text why it could not be done")
	}
	w.Outcome, w.Reason, w.Status, w.On, w.For = readiness.Failed, reasonText(sent), "", "", o.Snapshot
	return nil
}

func cancel(w *Work, sent *fhir.Resource, item *readiness.Item) fhir.Issues {
	code := ""
	for _, c := range sent.Get("statusReason", "coding").Items() {
		if c.String("system") == SystemReason {
			code = c.String("code")
		}
	}
	must := item.Step.Need == readiness.Must || item.Step.Need == readiness.MustToLeave
	switch {
	case code == ReasonNotNeeded && item.Step.TakesLastDose():
		return refuse("statusReason", "business-rule", "Task.statusReason not-needed: that a medicine has no last dose is a prescriber's to sign, on the Task that signs for it")
	case code == ReasonNotNeeded && (item.Applies == readiness.Unknown || w.Outcome == readiness.Applies):
		w.Outcome = readiness.NotNeeded
	case code == ReasonNotNeeded:
		return refuse("statusReason", "business-rule", "Task.statusReason not-needed is for a draft whose use is in doubt; this step applies to this person")
	case code != ReasonWaived:
		return refuse("statusReason", "required", "Task.statusReason is missing: cancel with the code waived and a text, or not-needed where it is in doubt whether the step applies (system "+SystemReason+")")
	case must:
		return refuse("status", "business-rule", "Task.status: this step is a must and cannot be waived")
	case reasonText(sent) == "":
		return refuse("statusReason.text", "required", "Task.statusReason.text is missing: say why the step is waived")
	default:
		w.Outcome = readiness.Waived
	}
	w.Reason, w.Status, w.On, w.For = reasonText(sent), "", "", nil
	return nil
}

func reasonText(sent *fhir.Resource) string { return sent.String("statusReason", "text") }

func refuse(element, code, text string) fhir.Issues {
	return fhir.Issues{{Severity: fhir.SeverityError, Code: code, Expression: "Task." + element, Text: text}}
}

// OutputValidUntil is the code of a Task.output that says until when what was
// done counts, as a date: the end of an approval, the next check of a device.
const OutputValidUntil = "valid-until"

// until reads that date; empty when there is none.
func (f Facility) until(sent *fhir.Resource) string {
	for _, out := range sent.Get("output").Items() {
		for _, c := range out.Get("type", "coding").Items() {
			if c.String("system") == SystemOutput && c.String("code") == OutputValidUntil {
				return f.day(out.String("valueDate")).String()
			}
		}
	}
	return ""
}

// DayOf reads a stored day; zero for none.
func DayOf(s string) calendar.Date {
	d, err := calendar.ParseDate(s)
	if err != nil {
		return 0
	}
	return d
}

// Today is the civil date at now in the facility's zone.
func (f Facility) Today(now time.Time) calendar.Date { return f.Calendar.DateOf(now) }
