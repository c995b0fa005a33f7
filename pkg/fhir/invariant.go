package fhir

import "slices"

// invariants are the rules of R4 that the rest of the service relies on, by
// structure. Keys of the rules (app-1 …) are those of the specification.
var invariants map[string]func(*walker, *Node)

func init() { // breaks the cycle walker → invariants → walker
	invariants = map[string]func(*walker, *Node){
		"Appointment":            appointmentRules,
		"AppointmentParticipant": participantRules,
		"Extension":              extensionRules,
		"Period":                 periodRules,
		"Reference":              referenceRules,
		"Task":                   taskRules,
	}
}

// present reports whether an element was sent with a value or an extension in
// place of one, as FHIRPath's exists() does.
func present(n *Node, name string) bool {
	return n.member(name) != nil || n.member("_"+name) != nil
}

func appointmentRules(w *walker, n *Node) {
	at, status := w.here(), knownStatus(n)
	start, end := present(n, "start"), present(n, "end")
	// The published expression of app-3 also allows waitlist; its text does not.
	mayLack := status == "proposed" || status == "cancelled" || status == "waitlist" || status == ""
	switch {
	case start != end:
		lacking := "start"
		if start {
			lacking = "end"
		}
		w.reportAt(at+"."+lacking, CodeInvariant, at+"."+lacking+" is missing: an appointment has both a start and an end, or neither (app-2)", "")
	case !start && !mayLack:
		w.reportAt(at+".start", CodeInvariant, at+".start is missing: "+article(status)+
			" appointment needs a start and an end; only a proposed, waitlisted or cancelled one may be without (app-3)", "")
	case start:
		w.ordered(n, CodeBusinessRule, "an appointment cannot end before it starts")
	}
	// app-4 as published says no-show, a code that does not exist: noshow.
	if present(n, "cancelationReason") && status != "cancelled" && status != "noshow" && status != "" {
		w.reportAt(at+".cancelationReason", CodeInvariant, at+
			".cancelationReason is only for an appointment that is cancelled or noshow (app-4)", "")
	}
}

// knownStatus is the status of an appointment if R4 has it; an unknown one is
// reported already, and is never repeated in a text.
func knownStatus(n *Node) string {
	status := n.member("status").Text()
	if slices.Contains(structureOf("Appointment").elements["status"].codes, status) {
		return status
	}
	return ""
}

func article(status string) string {
	if status == "arrived" || status == "entered-in-error" {
		return "an " + status
	}
	return "a " + status
}

func participantRules(w *walker, n *Node) {
	if !present(n, "type") && !present(n, "actor") {
		w.report(CodeInvariant, w.here()+" needs a type or an actor: who takes part (app-1)", "")
	}
}

func extensionRules(w *walker, n *Node) {
	value := false
	for name, c := range n.Members() {
		value = value || c.kind != Null && (hasPrefix(name, "value") || hasPrefix(name, "_value"))
	}
	if value == present(n, "extension") {
		w.report(CodeInvariant, w.here()+" needs a value or extensions of its own, and not both (ext-1)", "")
	}
}

func hasPrefix(s, prefix string) bool { return len(s) >= len(prefix) && s[:len(prefix)] == prefix }

func periodRules(w *walker, n *Node) {
	w.ordered(n, CodeInvariant, "a period cannot end before it starts (per-1)")
}

// ordered compares start and end as far as both were given and are well formed.
func (w *walker) ordered(n *Node, code, why string) {
	start, err1 := ParseDateTime(n.member("start").Text())
	end, err2 := ParseDateTime(n.member("end").Text())
	if err1 == nil && err2 == nil && start.after(end) {
		w.reportAt(w.here()+".end", code, w.here()+".end is before its start: "+why, "")
	}
}

func taskRules(w *walker, n *Node) {
	authored, err1 := ParseDateTime(n.member("authoredOn").Text())
	modified, err2 := ParseDateTime(n.member("lastModified").Text())
	if err1 == nil && err2 == nil && authored.after(modified) {
		w.reportAt(w.here()+".lastModified", CodeInvariant, w.here()+
			".lastModified is before authoredOn: a task cannot change before it was written (inv-1)", "")
	}
}

func referenceRules(w *walker, n *Node) {
	ref := n.member("reference")
	if ref != nil {
		ref.role = roleReference
	}
	if ref == nil && !present(n, "identifier") && !present(n, "display") && !present(n, "extension") && n.member("_reference") == nil {
		w.report(CodeInvariant, w.here()+" needs a reference, an identifier or a display: without one it names nothing", "")
		return
	}
	if ref == nil || ref.kind != String || ref.text == "" || ref.text[0] != '#' {
		return
	}
	if ref.text == "#" {
		if w.scope.inside {
			return
		}
	} else if w.scope.contained[ref.text[1:]] {
		return
	}
	w.reportAt(w.here()+".reference", CodeInvariant, w.here()+
		".reference points with # to a contained resource that is not there (ref-1)", "sent: "+quote(ref.text))
}
