package casework

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// messages are everything that a hospital sends of one operation, each naming
// the others by their numbers alone, as different systems do.
func messages(rt *rapid.T, n string) []res {
	who := logical(personSystem, "P-"+n)
	to := func(typ, system, number string) res {
		return res{"type": typ, "identifier": res{"system": system, "value": number}}
	}
	theOrder := []res{to("ServiceRequest", orderSystem, "R-"+n)}
	drawn := func(what string) bool { return rapid.Bool().Draw(rt, what) }

	a := appointment(n, "", surgery).with("participant", []res{{"actor": who, "status": "accepted"}})
	o := order(n, "").with("subject", who)
	p := procedure(n, "", rightHip, surgery).with("subject", who)
	v := stay(n, "", "", "planned", "", "").with("subject", who).
		with("appointment", []res{to("Appointment", bookingSystem, "B-"+n)})
	if drawn("the appointment names its order") {
		a = a.with("basedOn", theOrder)
	}
	if drawn("the appointment has no code") {
		a = a.with("reasonCode", nil)
	}
	if drawn("the operation names its order") {
		p = p.with("basedOn", theOrder)
	}
	if drawn("the order has a day") {
		o = o.with("occurrenceDateTime", surgery)
	}
	if drawn("same-day stay") {
		v = v.with("class", res{"system": "http://terminology.hl7.org/CodeSystem/v3-ActCode", "code": "SS"})
	}
	return []res{person(n), a, o, p, v}
}

// outcome is the open cases that a person's messages have led to, without ids
// and versions; in which order they were opened does not count.
func (h *house) outcome(patient string) []string {
	h.t.Helper()
	out := []string{}
	for _, c := range h.cases(patient) {
		if !c.Open {
			continue
		}
		text := fmt.Sprintf("%s, %d resources\n", c.State, h.get("CarePlan/"+c.ID).Get("supportingInfo").Len())
		items := h.items(c.ID)
		slices.SortFunc(items, func(a, b item) int { return strings.Compare(a.Step, b.Step) })
		for _, i := range items {
			text += fmt.Sprintln(i.Step, i.Round, i.window(), i.State, i.Status, i.Focus != "", i.BasedOn != "")
		}
		out = append(out, text)
	}
	slices.Sort(out)
	return out
}

// The messages of one operation, in any order, end in the same plan.
func TestAnyOrderEndsInTheSamePlan(t *testing.T) {
	h := newHouse(t)
	n := 0
	rapid.Check(t, func(rt *rapid.T) {
		n++
		all := messages(rt, fmt.Sprint(n))
		order := rapid.Permutation([]int{0, 1, 2, 3, 4}).Draw(rt, "order")
		for _, k := range order {
			h.store(all[k])
		}
		shuffled := h.outcome(h.store(all[0]))

		// The same story about somebody else, told in the usual order.
		usual := rename(all, fmt.Sprint(n), fmt.Sprintf("%d-usual", n))
		for _, r := range usual {
			h.store(r)
		}
		require.Equal(rt, h.outcome(h.store(usual[0])), shuffled)
		require.NotEmpty(rt, shuffled)
	})
}

// rename tells the same of another number.
func rename(all []res, from, to string) []res {
	var out []res
	for _, r := range all {
		out = append(out, renamed(r, from, to).(res))
	}
	return out
}

func renamed(v any, from, to string) any {
	switch v := v.(type) {
	case res:
		out := res{}
		for k, x := range v {
			out[k] = renamed(x, from, to)
		}
		return out
	case []res:
		var out []res
		for _, x := range v {
			out = append(out, renamed(x, from, to).(res))
		}
		return out
	case string:
		for _, letter := range []string{"P", "B", "O", "R", "V"} {
			if v == letter+"-"+from {
				return letter + "-" + to
			}
		}
	}
	return v
}
