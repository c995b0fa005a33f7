package readiness

import (
	"fmt"
	"strings"

	"example.org/countback/pkg/calendar"
)

// MedicineCaution stands under every piece of advice on a medicine.
const MedicineCaution = "This is advice to the prescriber; the patient follows only a signed plan."

// Headline says in one sentence what comes out for the medicine.
func (a *MedicineAdvice) Headline() string {
	name := a.Medicine.Name
	switch {
	case len(a.Medicine.Rules) == 0 && a.Medicine.Like != "":
		return name + ": no rule goes by words, and these look like " + a.Medicine.Like +
			"; code it, or a prescriber decides: it goes on, has a last dose on a day, or is not taken."
	case len(a.Medicine.Rules) == 0:
		return name + ": no rule here knows it; a prescriber decides: it goes on, has a last dose on a day, or is not taken."
	case a.neverStops():
		return name + ": never stopped for surgery."
	case a.Continues:
		return name + ": goes on as usual."
	case len(a.Needs) > 0:
		return name + ": the last dose cannot be computed: needs to know " + strings.Join(a.Needs, ", and ") + "."
	case a.Decides != "":
		return name + ": no last dose is proposed; decided by " + a.Decides + "."
	case a.Last.IsZero():
		return name + ": no date for the operation, so no last dose."
	}
	return name + ": last dose by " + a.Last.Words() + "."
}

func (a *MedicineAdvice) neverStops() bool {
	for n := range a.Candidates {
		if a.Candidates[n].Rule.Does == MedicineNeverStop {
			return a.Continues
		}
	}
	return false
}

// Words tells the advice, a sentence or two a line: what comes out, each rule
// with its source, what is to be confirmed and tested, and the restart.
func (a *MedicineAdvice) Words(cal *calendar.Calendar) []string {
	out := []string{a.Headline()}
	if a.Clearance > 0 {
		out = append(out, fmt.Sprintf("Creatinine clearance by Cockcroft-Gault, on the day of surgery: %.2f mL/min, compared unrounded.", a.Clearance))
	}
	for n := range a.Candidates {
		out = append(out, a.told(&a.Candidates[n]))
	}
	if len(a.Asks) > 0 {
		out = append(out, ConfirmFirst+strings.Join(a.Asks, "; ")+".")
	}
	for n := range a.Candidates {
		if r := a.Candidates[n].Rule; r.Check != "" && !a.Day.IsZero() {
			out = append(out, fmt.Sprintf("%s: tested on %s, the last open day before surgery, and again on arrival.",
				r.Check, cal.OnOrBefore(a.Day.Add(-1)).Format(dayLayout)))
		}
	}
	for n := range a.Candidates {
		if r := a.Candidates[n].Rule; r.Restart.Text != "" {
			out = append(out, "Restart: "+r.Restart.words(a.Day))
		}
	}
	return append(out, MedicineCaution)
}

// words says when a medicine is usually taken again.
func (r Restart) words(day calendar.Date) string {
	switch {
	case !r.Dated || day.IsZero():
		return r.Text
	case r.From == r.To:
		return "about " + day.Add(r.From).Format(dayLayout) + ". " + r.Text
	}
	return day.Add(r.From).Format(dayLayout) + " to " + day.Add(r.To).Format(dayLayout) + ". " + r.Text
}

// told says what one rule gives, and where it comes from.
func (a *MedicineAdvice) told(d *DoseCandidate) string {
	r := d.Rule
	var b strings.Builder
	b.WriteString(r.Title)
	switch {
	case len(d.Needs) > 0 && r.Does == MedicineSpecialist:
		b.WriteString(": no date would be proposed if it applies")
	case len(d.Needs) > 0:
		b.WriteString(": not computed")
	case d.Last.IsZero():
	case r.Does == MedicineChoice:
		b.WriteString(": if it is held, last dose by " + d.Last.Words())
	case !d.First.IsZero():
		b.WriteString(": last dose from " + d.First.Words() + " to " + d.Last.Words())
	default:
		b.WriteString(": last dose by " + d.Last.Words())
	}
	if a.By == r && a.others() {
		b.WriteString(" (the strictest, and used)")
	}
	b.WriteString(". ")
	b.WriteString(a.placed(d))
	b.WriteString(r.Note)
	for _, s := range r.Sources {
		b.WriteString(" Source: " + s.Text + " (" + s.Mark + ").")
	}
	return b.String()
}

// others reports whether more than one rule gives a last dose.
func (a *MedicineAdvice) others() bool {
	count := 0
	for n := range a.Candidates {
		if d := &a.Candidates[n]; !d.Last.IsZero() && len(d.Needs) == 0 {
			count++
		}
	}
	return count > 1
}

// placed says where the day of surgery lies after the last dose that is known.
func (a *MedicineAdvice) placed(d *DoseCandidate) string {
	last := a.Medicine.Last.Day
	switch d.Fit {
	case TooSoon:
		return fmt.Sprintf("The last known dose, of %s, is too near: surgery from %s. ",
			last.Format(dayLayout), d.Rule.From.plus(last).Format(dayLayout))
	case InWindow:
		return "The last known dose, of " + last.Format(dayLayout) + ", is in the window, if none is given after it. "
	case PastWindow:
		return "The last known dose, of " + last.Format(dayLayout) + ", is longer ago than the window: whether another is given is decided with its prescriber. "
	}
	return ""
}

// ConfirmFirst begins the advice that a prescriber must have confirmed before
// signing.
const ConfirmFirst = "To confirm before signing: "
