package casework

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// twins stores two people with the same identifier, as two feeds may.
func (h *house) twins() {
	h.put("Patient", person("twin"))
	h.put("Patient", person("twin"))
}

// refusal is what a request is told: the reason class, the issue code and the
// element.
type refusal struct {
	err              error
	code, expression string
}

func (h *house) refuses(want refusal, d Delivery) *Refusal {
	h.t.Helper()
	before := h.everything()
	_, err := h.receive(d)
	require.ErrorIs(h.t, err, want.err)
	var r *Refusal
	require.ErrorAs(h.t, err, &r)
	require.Equal(h.t, want.code, r.Issues[0].Code)
	require.Equal(h.t, want.expression, r.Issues[0].Expression)
	require.NotEmpty(h.t, r.Issues[0].Text)
	require.NotContains(h.t, err.Error(), "Quillfeather", "the text of a refusal may be logged")
	require.Equal(h.t, before, h.everything(), "nothing of what is refused is stored")
	return r
}

// R4 http.html, conditional create (rows of the FHIR notes, D 9).
func TestConditionalCreate(t *testing.T) {
	h := newHouse(t)
	h.twins()
	p := person("1")
	query := strings.TrimPrefix(by(p), "Patient?")

	t.Run("no match: created", func(t *testing.T) {
		got := h.put("Patient", p, ifNoneExist(query))
		require.True(t, got.Created)
		require.EqualValues(t, 1, got.Stored.Version)
	})
	t.Run("one match: that one, and not changed", func(t *testing.T) {
		held := h.put("Patient", p, ifNoneExist(query))
		require.False(t, held.Created)
		again := h.put("Patient", p.with("gender", "other"), ifNoneExist(query))
		require.Equal(t, Result{Stored: held.Stored}, again)
		require.Equal(t, "female", h.get(name(again.Stored)).String("gender"))
	})
	t.Run("the type may stand before the query", func(t *testing.T) {
		require.False(t, h.put("Patient", p, ifNoneExist(by(p))).Created)
	})
	t.Run("the id of the sender means nothing", func(t *testing.T) {
		got := h.put("Patient", person("2").with("id", "mine"), ifNoneExist(strings.TrimPrefix(by(person("2")), "Patient?")))
		require.True(t, got.Created)
		require.NotEqual(t, "mine", got.Stored.ID)
	})
	t.Run("two matches: refused", func(t *testing.T) {
		twin := person("twin")
		h.refuses(refusal{ErrMultiple, "multiple-matches", "Patient"},
			delivery(t, "Patient", twin.json(), ifNoneExist(strings.TrimPrefix(by(twin), "Patient?"))))
	})
}

// R4 http.html, conditional update (rows of the FHIR notes, D 10).
func TestConditionalUpdate(t *testing.T) {
	h := newHouse(t)
	h.twins()
	p := person("1")
	var id string

	t.Run("no match, no id: created under a new id", func(t *testing.T) {
		got := h.put(by(p), p)
		require.True(t, got.Created)
		id = got.Stored.ID
	})
	t.Run("no match, id free: created under that id", func(t *testing.T) {
		got := h.put(by(person("2")), person("2").with("id", "chosen"))
		require.True(t, got.Created)
		require.Equal(t, "chosen", got.Stored.ID)
	})
	t.Run("no match, id taken: refused", func(t *testing.T) {
		h.refuses(refusal{ErrConflict, "conflict", "Patient.id"},
			delivery(t, by(person("3")), person("3").with("id", "chosen").json()))
	})
	t.Run("one match, no id: updated", func(t *testing.T) {
		got := h.put(by(p), p.with("gender", "other"))
		require.Equal(t, id, got.Stored.ID)
		require.EqualValues(t, 2, got.Stored.Version)
		require.False(t, got.Created)
		require.True(t, got.Changed)
	})
	t.Run("one match, its id: updated", func(t *testing.T) {
		got := h.put(by(p), p.with("id", id))
		require.Equal(t, id, got.Stored.ID)
		require.EqualValues(t, 3, got.Stored.Version)
	})
	t.Run("one match, another id: refused", func(t *testing.T) {
		h.refuses(refusal{ErrMalformed, "invariant", "Patient.id"}, delivery(t, by(p), p.with("id", "other").json()))
	})
	t.Run("two matches: refused", func(t *testing.T) {
		h.refuses(refusal{ErrMultiple, "multiple-matches", "Patient"}, delivery(t, by(person("twin")), person("twin").json()))
	})
	t.Run("without the identifier of the condition: refused", func(t *testing.T) {
		for _, n := range []string{"1", "new"} { // held, and not
			other := person(n).with("identifier", numbered(personSystem, "P-other"))
			h.refuses(refusal{ErrInvalid, "business-rule", "Patient.identifier"}, delivery(t, by(person(n)), other.json()))
		}
		h.refuses(refusal{ErrInvalid, "business-rule", "Patient.identifier"},
			delivery(t, "Patient", person("other").json(), ifNoneExist(by(person("new")))))
	})
	t.Run("another type with the identifier does not match", func(t *testing.T) {
		got := h.put("RelatedPerson?"+strings.TrimPrefix(by(p), "Patient?"),
			res{"resourceType": "RelatedPerson", "identifier": p["identifier"], "patient": ref("Patient/" + id)})
		require.True(t, got.Created)
	})
}

func TestIdentifierOfAConditionHasASystem(t *testing.T) {
	h := newHouse(t)
	for _, query := range []string{
		"identifier=P-1",                   // any system would match
		"identifier=|P-1",                  // no system
		"identifier=" + personSystem + "|", // no value
		"identifier=",
		"identifier=" + personSystem + "|P-1,P-2",
		"active=true&identifier=P-1",
		"identifier=%zz",
	} {
		t.Run(query, func(t *testing.T) {
			h.refuses(refusal{ErrMalformed, "value", "Patient"}, delivery(t, "Patient?"+query, person("1").json()))
			h.refuses(refusal{ErrMalformed, "value", "Patient"}, delivery(t, "Patient", person("1").json(), ifNoneExist(query)))
		})
	}
}

func TestUpdateByID(t *testing.T) {
	h := newHouse(t)
	t.Run("of nothing: created under that id", func(t *testing.T) {
		got := h.put("Patient/p-1", person("1").with("id", "p-1"))
		require.True(t, got.Created)
		require.Equal(t, "p-1", got.Stored.ID)
		require.EqualValues(t, 1, got.Stored.Version)
	})
	t.Run("of what is held: the next version", func(t *testing.T) {
		got := h.put("Patient/p-1", person("1").with("id", "p-1").with("gender", "other"))
		require.False(t, got.Created)
		require.EqualValues(t, 2, got.Stored.Version)
		require.Equal(t, "female", parse(t, h.version("Patient/p-1", 1).Body).String("gender"))
	})
	for what, id := range map[string]any{"without an id": nil, "with another id": "p-2"} {
		t.Run(what+": refused", func(t *testing.T) {
			h.refuses(refusal{ErrMalformed, "invariant", "Patient.id"}, delivery(t, "Patient/p-1", person("1").with("id", id).json()))
		})
	}
}

func TestIfMatch(t *testing.T) {
	h := newHouse(t)
	p := person("1").with("id", "p-1")
	h.put("Patient/p-1", p)
	t.Run("the current version: updated", func(t *testing.T) {
		require.EqualValues(t, 2, h.put("Patient/p-1", p.with("gender", "other"), ifMatch(`W/"1"`)).Stored.Version)
	})
	t.Run("spaces around it", func(t *testing.T) {
		require.EqualValues(t, 3, h.put(by(p), p.with("gender", "male"), ifMatch(` W/"2" `)).Stored.Version)
	})
	for what, version := range map[string]string{
		"an older version": `W/"1"`, "a version to come": `W/"4"`, "a strong tag": `"3"`, "no tag": "3", "any": "*",
	} {
		t.Run(what+": refused", func(t *testing.T) {
			h.refuses(refusal{ErrVersion, "conflict", "Patient"}, delivery(t, "Patient/p-1", p.json(), ifMatch(version)))
			h.refuses(refusal{ErrVersion, "conflict", "Patient"}, delivery(t, by(p), p.json(), ifMatch(version)))
		})
	}
	t.Run("nothing is held: refused", func(t *testing.T) {
		h.refuses(refusal{ErrVersion, "conflict", "Patient"}, delivery(t, "Patient/p-9", person("9").with("id", "p-9").json(), ifMatch(`W/"1"`)))
	})
	t.Run("of an entry", func(t *testing.T) {
		h.refuses(refusal{ErrVersion, "conflict", "Bundle.entry[0].resource"},
			delivery(t, "", transaction(entry{target: "Patient/p-1", ifMatch: `W/"1"`, resource: p})))
	})
}

// A POST of a booking whose identifiers are exactly those of one that is held
// updates that one; of anything else it creates.
func TestPostOfABooking(t *testing.T) {
	h := newHouse(t)
	patient := name(h.put("Patient", person("1")).Stored)
	first := h.put("Appointment", appointment("1", patient, surgery))
	two := appointment("1", patient, surgery).with("identifier", numbered(bookingSystem, "B-1", "B-extra"))

	t.Run("the same identifiers: updated, and one case", func(t *testing.T) {
		got := h.put("Appointment", appointment("1", patient, "2027-01-12"))
		require.Equal(t, first.Stored.ID, got.Stored.ID)
		require.EqualValues(t, 2, got.Stored.Version)
		require.False(t, got.Created)
		h.onlyCase(patient)
	})
	t.Run("the id that was sent means nothing", func(t *testing.T) {
		got := h.put("Appointment", appointment("1", patient, "2027-01-12").with("id", "mine"))
		require.Equal(t, first.Stored.ID, got.Stored.ID)
	})
	t.Run("one identifier more: created", func(t *testing.T) {
		require.True(t, h.put("Appointment", two.with("status", "cancelled")).Created)
	})
	t.Run("the same ones in another order: updated", func(t *testing.T) {
		got := h.put("Appointment", two.with("status", "cancelled").with("identifier", numbered(bookingSystem, "B-extra", "B-1")))
		require.False(t, got.Created)
		require.EqualValues(t, 2, got.Stored.Version)
	})
	t.Run("the same number of another system: created", func(t *testing.T) {
		got := h.put("Appointment", appointment("1", patient, surgery).
			with("identifier", numbered("https://elsewhere.larkspindle.example/booking", "B-1")).with("status", "cancelled"))
		require.True(t, got.Created)
	})
	t.Run("under a new id: refused, as it would be a second case", func(t *testing.T) {
		again := appointment("1", patient, surgery).with("id", "mine")
		h.refuses(refusal{ErrConflict, "duplicate", "Appointment.identifier"}, delivery(t, "Appointment/mine", again.json()))
	})
	t.Run("a person is created each time", func(t *testing.T) {
		require.True(t, h.put("Patient", person("1")).Created)
	})
	t.Run("orders, operations and stays as well", func(t *testing.T) {
		for _, r := range []res{
			order("1", patient).with("status", "draft"), procedure("1", patient, cholecystCode, surgery),
			stay("1", patient, name(first.Stored), "planned", "", ""),
		} {
			typ := r["resourceType"].(string)
			made := h.put(typ, r)
			require.True(t, made.Created, typ)
			again := h.put(typ, r)
			require.Equal(t, made.Stored, again.Stored, typ)
			require.False(t, again.Changed, typ)
		}
	})
}
