package sheet

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/api"
	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/translate"
)

func day(t *testing.T, s string) calendar.Date {
	t.Helper()
	d, err := calendar.ParseDate(s)
	require.NoError(t, err)
	return d
}

func sentences(t *testing.T) *Sentences {
	t.Helper()
	s, err := Load()
	require.NoError(t, err)
	return s
}

// line is an item of a step of the protocol inside.
func line(t *testing.T, p *translate.Protocol, step string, change func(*translate.HandoutLine)) translate.HandoutLine {
	t.Helper()
	s := p.Step(step)
	require.NotNil(t, s, step)
	l := translate.HandoutLine{
		TaskID: "c." + step, Version: 1, Part: p.Part(step), Says: map[string]translate.Spoken{},
		Item: readiness.Item{Key: readiness.Key{Step: step, Round: 1}, Step: s, State: readiness.Upcoming, Applies: readiness.Yes},
	}
	for _, lang := range Languages {
		l.Says[lang], _ = p.Says(step, lang)
	}
	if change != nil {
		change(&l)
	}
	return l
}

// handout is a case of Monday 30 November 2026 with one step of each part.
func handout(t *testing.T, state readiness.CaseState) translate.Handout {
	t.Helper()
	p := bundled(t)
	on := func(d string) func(*translate.HandoutLine) {
		return func(l *translate.HandoutLine) { l.Item.Due = readiness.Moment{Day: day(t, d)} }
	}
	unreported := state == "unreported"
	if unreported {
		state = readiness.CaseHeld
	}
	return translate.Handout{
		Unreported: unreported,
		CaseID:     "c", Name: "Hesper Copperquill", State: state, Day: day(t, "2026-11-30"), Joint: "hip", Side: "left", Approved: true, Decides: "prescriber",
		Lines: []translate.HandoutLine{
			line(t, p, "stop-solids", func(l *translate.HandoutLine) {
				l.Item.Due = readiness.Moment{Day: day(t, "2026-11-29"), At: time.Date(2026, 11, 29, 23, 30, 0, 0, time.UTC)}
			}),
			line(t, p, "medical-evaluation", on("2026-11-20")),
			line(t, p, "antiseptic-wash-1", on("2026-11-28")),
			line(t, p, "bag-packed", on("2026-11-29")),
			line(t, p, "ride-home", on("2026-11-23")),
			line(t, p, "arrival-call", on("2026-11-27")),
			line(t, p, "pet-care", func(l *translate.HandoutLine) { l.Item.Applies = readiness.Unknown }),
			line(t, p, "medicine-stop", func(l *translate.HandoutLine) {
				l.Item.Key.Repeat, l.Medicine = "apixaban", "Apixaban 5 mg"
				l.Item.Due = readiness.Moment{Day: day(t, "2026-11-27")}
			}),
		},
	}
}

func page(t *testing.T, h translate.Handout, o Options) (Page, string) {
	t.Helper()
	o.PrintedOn = day(t, "2026-11-18")
	p, err := sentences(t).Page(h, o)
	require.NoError(t, err)
	var b strings.Builder
	require.NoError(t, p.WriteHTML(&b))
	return p, b.String()
}

func titles(steps []Step) (out []string) {
	for _, s := range steps {
		out = append(out, s.When+" | "+s.Title)
	}
	return out
}

// Who may have stopped a medicine for a day that no longer holds reads so first,
// also where surgery stands.
func TestStrandedMedicine(t *testing.T) {
	h := handout(t, readiness.CaseOnTrack)
	h.Stranded = true
	for choice, says := range map[string]string{"en": "Call us today. Do not start it again by yourself.", "es": "Llámenos hoy. No la empiece otra vez por su cuenta."} {
		p, text := page(t, h, Options{Choice: choice})
		require.Contains(t, text, says)
		require.NotContains(t, p.Day, "?", "the day itself stands")
		require.Len(t, p.Banner.Lines, 1)
	}
}

// Only what patient and coach do themselves, in the order of days; a step in
// doubt is not told.
func TestOwnStepsInOrder(t *testing.T) {
	p, text := page(t, handout(t, readiness.CaseOnTrack), Options{})
	require.Nil(t, p.Banner)
	require.Equal(t, []string{
		"By Monday 23 November | A ride home", "By Saturday 28 November | Antiseptic wash, first",
		"By Sunday 29 November | Pack your bag", "Sunday 29 November, at 11:30 at night | Stop full meals",
	}, titles(p.Steps))
	require.Equal(t, "A new hip on the left side", p.Operation)
	require.Equal(t, "Monday 30 November 2026", p.Day)
	require.Contains(t, p.Arrival, "Friday 27 November, in the afternoon")
	require.Len(t, p.Washes, 1)
	require.Greater(t, len(p.Washes[0].Sentences), 8)
	require.Equal(t, "If you are allergic to the antiseptic, use plain soap.", p.Washes[0].Sentences[0])
	require.Contains(t, text, "Printed on Wednesday 18 November 2026. Throw older sheets away. If your day moves, ask for a new sheet.")
	require.Less(t, strings.Index(text, p.Emergency.Title), strings.Index(text, p.Operation), "danger signs come first")
}

// A span stands at its first day, however late it ends; what is open already is told
// by its end, and stands there.
func TestSpansStandAtTheirFirstDay(t *testing.T) {
	h := handout(t, readiness.CaseOnTrack)
	opens := func(n int, from, to string) {
		h.Lines[n].Item.Opens, h.Lines[n].Item.Due = readiness.Moment{Day: day(t, from)}, readiness.Moment{Day: day(t, to)}
	}
	opens(2, "2026-11-23", "2026-11-30") // a wash, from before the bag until after it
	opens(3, "2026-11-24", "2026-11-29")
	opens(4, "2026-11-01", "2026-12-02")
	p, _ := page(t, h, Options{})
	require.Equal(t, []string{
		"From Monday 23 November to Monday 30 November | Antiseptic wash, first",
		"From Tuesday 24 November to Sunday 29 November | Pack your bag", "Sunday 29 November, at 11:30 at night | Stop full meals",
		"By Wednesday 2 December | A ride home",
	}, titles(p.Steps))
}

// Where a box stands for what is told in a part of its own, the part is named by
// its heading; a list that is meant is named, too.
func TestPartsAreFound(t *testing.T) {
	for lang, want := range map[string][3]string{
		"en": {"See “Your washes” on this sheet.", "See “What to bring” on this sheet.", "Use the list on the first page: call your local emergency number."},
		"es": {"Vea «Sus lavados» en esta hoja.", "Vea «Qué traer» en esta hoja.", "Use la de la primera página: llame al número local de emergencias."},
	} {
		h := handout(t, readiness.CaseOnTrack)
		h.Prefers = []string{lang}
		_, text := page(t, h, Options{})
		for _, says := range want {
			require.Contains(t, text, says)
		}
	}
}

// A last dose is printed with its day only where a named prescriber signed it.
func TestMedicinesOnlyAsSigned(t *testing.T) {
	for _, lang := range Languages {
		h := handout(t, readiness.CaseOnTrack)
		h.Prefers = []string{lang}
		last := &h.Lines[len(h.Lines)-1]
		p, text := page(t, h, Options{})
		require.Len(t, p.Medicines, 1)
		require.False(t, p.Medicines[0].Signed)
		require.Empty(t, p.Medicines[0].Sentences)
		require.Equal(t, map[string]string{
			"en": "Not decided yet. Ask before you change anything: your prescriber will tell you.",
			"es": "Aún no está decidido. Pregunte antes de cambiar algo: quien le receta le dirá.",
		}[lang], p.Medicines[0].Text)
		require.False(t, strings.Contains(text, last.Says[lang].Text), "the instruction to stop waits for the signature")

		last.SignedBy = "Dr Wendeline Thatchmarsh"
		p, _ = page(t, h, Options{})
		require.True(t, p.Medicines[0].Signed)
		require.Equal(t, map[string]string{
			"en": "Last dose: Friday 27 November. Signed by Dr Wendeline Thatchmarsh.",
			"es": "Última toma: viernes 27 de noviembre. Lo firmó Dr Wendeline Thatchmarsh.",
		}[lang], p.Medicines[0].Text)
	}
}

// A medicine that a named prescriber signed to go on is told so, with the name
// and no box to tick, until the person is in hospital.
func TestMedicinesThatGoOn(t *testing.T) {
	for state, told := range map[readiness.CaseState]bool{
		readiness.CaseOnTrack: true, readiness.CaseHeld: true, readiness.CaseInfeasible: true, readiness.CaseReady: true,
		readiness.CaseArrived: false, readiness.CaseHome: false, readiness.CaseCancelled: false, readiness.CaseClosed: false,
	} {
		for _, lang := range Languages {
			h := handout(t, state)
			h.Lines, h.Prefers = nil, []string{lang}
			h.GoesOn = []translate.GoesOn{{Medicine: "Warfarin", SignedBy: "Dr Wendeline Thatchmarsh"}}
			p, _ := page(t, h, Options{})
			if !told {
				require.Empty(t, p.Medicines, state)
				continue
			}
			require.Equal(t, []Medicine{{Name: "Warfarin", Text: map[string]string{
				"en": "Keep taking it as you do now. Signed by Dr Wendeline Thatchmarsh.",
				"es": "Siga tomándola como ahora. Lo firmó Dr Wendeline Thatchmarsh.",
			}[lang]}}, p.Medicines, state)
		}
	}
}

// Every medicine on record is named, whatever becomes of its steps: as signed, or
// that it is not decided, and to ask; what no prescriber is asked about, together.
func TestEveryMedicineIsNamed(t *testing.T) {
	for _, state := range []readiness.CaseState{readiness.CaseOnTrack, readiness.CaseHeld, readiness.CaseInfeasible, readiness.CaseArrived, readiness.CaseHome, readiness.CaseCancelled, readiness.CaseClosed} {
		for _, lang := range Languages {
			h := handout(t, state)
			h.Prefers = []string{lang}
			last := &h.Lines[len(h.Lines)-1]
			last.Medicine, last.SignedBy, last.Item.Step.PausesOnHold = "Apixaban", "Dr Wendeline Thatchmarsh", true
			if state == readiness.CaseHome {
				last.Item.State = readiness.StateDone
			}
			h.GoesOn = []translate.GoesOn{{Medicine: "Insulin glargine", SignedBy: "Dr Wendeline Thatchmarsh"}}
			h.NotTaken = []translate.GoesOn{{Medicine: "Drops", SignedBy: "Dr Wendeline Thatchmarsh"}}
			h.Listed = []translate.Listed{{Medicine: "Apixaban", Asked: true}, {Medicine: "Aspirin"}, {Medicine: "Drops", Asked: true}, {Medicine: "Insulin glargine", Asked: true}, {Medicine: "Metoprolol"}, {Medicine: "Warfarin", Asked: true}}
			p, _ := page(t, h, Options{})
			var told []string
			for _, m := range p.Medicines {
				told = append(told, m.Name+": "+m.Text)
			}
			ask := map[string]string{"en": ": Not decided yet. Ask before you change anything: your prescriber will tell you.", "es": ": Aún no está decidido. Pregunte antes de cambiar algo: quien le receta le dirá."}[lang]
			last1 := map[string]string{"en": "Apixaban: Last dose: Friday 27 November. Signed by Dr Wendeline Thatchmarsh.", "es": "Apixaban: Última toma: viernes 27 de noviembre. Lo firmó Dr Wendeline Thatchmarsh."}[lang]
			want := []string{
				map[string]string{"en": "Insulin glargine: Keep taking it as you do now. Signed by Dr Wendeline Thatchmarsh.", "es": "Insulin glargine: Siga tomándola como ahora. Lo firmó Dr Wendeline Thatchmarsh."}[lang],
				map[string]string{"en": "Drops: Our list has this, and Dr Wendeline Thatchmarsh signed that you do not take it. If you do take it, call us before you change anything.", "es": "Drops: Está en nuestra lista, y Dr Wendeline Thatchmarsh firmó que usted no la toma. Si la toma, llámenos antes de cambiar algo."}[lang],
				"Warfarin" + ask,
				"Aspirin, Metoprolol: " + map[string]string{"en": "No change is signed for this. Ask before you change anything.", "es": "Aquí no hay ningún cambio firmado. Pregunte antes de cambiar algo."}[lang],
			}
			switch state {
			case readiness.CaseOnTrack:
				want = append([]string{last1}, want...)
			case readiness.CaseHeld, readiness.CaseInfeasible: // the last dose waits, and must not read as if it stood
				want = append(want, "Apixaban"+ask)
			case readiness.CaseArrived:
				want = []string{last1}
			default:
				want = nil
			}
			require.ElementsMatch(t, want, told, "%s %s", state, lang)
		}
	}
}

// Who takes no medicine, or none of which anything is known, is told of none: the
// sheet says what holds for every medicine.
func TestNoMedicineNoLine(t *testing.T) {
	h := handout(t, readiness.CaseOnTrack)
	h.Lines = h.Lines[:len(h.Lines)-1]
	p, text := page(t, h, Options{})
	require.Empty(t, p.Medicines)
	require.Contains(t, text, "Do not stop, start or change a medicine by yourself. Do it only when a prescriber has signed it with a name.")
	require.NotContains(t, text, "Ask before you change")
	require.NotContains(t, text, "Do not stop any other medicine")

	// In doubt, or not needed: no line either.
	for _, f := range []func(*translate.HandoutLine){
		func(l *translate.HandoutLine) { l.Item.Applies = readiness.Unknown },
		func(l *translate.HandoutLine) { l.Item.Applies, l.Item.State = readiness.No, readiness.Needless },
	} {
		h := handout(t, readiness.CaseOnTrack)
		f(&h.Lines[len(h.Lines)-1])
		p, _ := page(t, h, Options{})
		require.Empty(t, p.Medicines)
	}
	for _, state := range []readiness.CaseState{readiness.CaseHome, readiness.CaseCancelled} {
		h.State = state
		_, text := page(t, h, Options{})
		require.NotContains(t, text, "Do not stop, start or change a medicine by yourself. Do it only", state)
	}
}

// Nothing reads as if surgery went ahead when it does not.
func TestSheetThatDoesNotGoAhead(t *testing.T) {
	for _, c := range []struct {
		name  string
		state readiness.CaseState
		day   bool
		title string
		steps []string
	}{
		{"held", readiness.CaseHeld, true, "Your operation is on hold", []string{"A ride home", "Pack your bag"}},
		{"held, and its hour is past", "unreported", true, "The day of your operation has passed", []string{"A ride home", "Pack your bag"}},
		{"cannot be met", readiness.CaseInfeasible, true, "Your operation may have to move", []string{"A ride home", "Pack your bag"}},
		{"held for want of a date", readiness.CaseHeld, false, "Your operation has no day now", []string{"A ride home", "Pack your bag"}},
		{"cancelled", readiness.CaseCancelled, true, "Your operation does not take place", nil},
		{"closed", readiness.CaseClosed, true, "This plan is finished", nil},
		{"a state that came later", "bewildered", true, "Your operation is on hold", []string{"A ride home", "Pack your bag"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			h := handout(t, c.state)
			if !c.day {
				h.Day = 0
			}
			h.Lines[len(h.Lines)-1].SignedBy = "Dr Wendeline Thatchmarsh"
			p, text := page(t, h, Options{Phone: "555-0142"})
			require.NotNil(t, p.Banner)
			require.Equal(t, c.title, p.Banner.Title)
			require.Less(t, strings.Index(text, c.title), strings.Index(text, p.Emergency.Title))
			var got []string
			for _, s := range p.Steps {
				got = append(got, s.Title)
			}
			require.Equal(t, c.steps, got)
			require.Empty(t, p.Fasting)
			require.Empty(t, p.Washes)
			require.Empty(t, p.Arrival)
			for _, m := range p.Medicines {
				require.False(t, m.Signed, "a last dose for a day that does not stand")
			}
			if c.state != readiness.CaseClosed { // it was done on that day
				require.NotEqual(t, "Monday 30 November 2026", p.Day)
			}
		})
	}
}

// No number is printed that was not configured.
func TestPhoneNumbers(t *testing.T) {
	p, text := page(t, handout(t, readiness.CaseOnTrack), Options{Phone: "555-0142"})
	require.Equal(t, Phone{"Our phone", "555-0142", ""}, p.Call)
	require.Equal(t, "", p.CallClosed.Number)
	require.NotEmpty(t, p.CallClosed.Blank)
	require.Equal(t, 2, strings.Count(text, `<a class="number" href="tel:5550142">555-0142</a>`))
}

// A night belongs to two days: both are named. The hours are the facility's.
func TestMomentsInWords(t *testing.T) {
	for _, c := range []struct{ at, en, es string }{
		{"2026-11-30T00:00", "Monday 30 November, at midnight (the night from Sunday to Monday)", "lunes 30 de noviembre, a medianoche (la noche del domingo al lunes)"},
		{"2026-11-30T01:30", "Monday 30 November, at 1:30 at night (the night from Sunday to Monday)", "lunes 30 de noviembre, a la 1:30 de la madrugada (la noche del domingo al lunes)"},
		{"2026-11-30T04:59", "Monday 30 November, at 4:59 at night (the night from Sunday to Monday)", "lunes 30 de noviembre, a las 4:59 de la madrugada (la noche del domingo al lunes)"},
		{"2026-11-30T05:00", "Monday 30 November, at 5:00 in the morning", "lunes 30 de noviembre, a las 5:00 de la mañana"},
		{"2026-11-30T12:00", "Monday 30 November, at 12 noon", "lunes 30 de noviembre, a las 12 del mediodía"},
		{"2026-11-30T12:15", "Monday 30 November, at 12:15 in the afternoon", "lunes 30 de noviembre, a las 12:15 de la tarde"},
		{"2026-11-30T13:00", "Monday 30 November, at 1:00 in the afternoon", "lunes 30 de noviembre, a la 1:00 de la tarde"},
		{"2026-11-29T18:00", "Sunday 29 November, at 6:00 in the evening", "domingo 29 de noviembre, a las 6:00 de la noche"},
		{"2026-11-29T23:30", "Sunday 29 November, at 11:30 at night", "domingo 29 de noviembre, a las 11:30 de la noche"},
	} {
		at, err := time.Parse("2006-01-02T15:04", c.at)
		require.NoError(t, err)
		m := readiness.Moment{Day: day(t, c.at[:10]), At: at}
		for lang, want := range map[string]string{"en": c.en, "es": c.es} {
			s := &speaker{Sentences: sentences(t), lang: lang}
			require.Equal(t, want, s.moment(m))
			require.Empty(t, s.missing)
		}
	}
}

// The language is the patient's, else the page's, else English.
func TestLanguage(t *testing.T) {
	require.Equal(t, "es", Language([]string{"es"}, "en"))
	require.Equal(t, "es", Language(nil, "es"))
	require.Equal(t, "es", Language([]string{"uk", "es"}, "en"))
	require.Equal(t, "en", Language([]string{"uk"}, "zz"))
}

// Whatever nobody licensed has read says so; the protocol inside says that it is
// an example.
func TestUnreviewedSaysSo(t *testing.T) {
	h := handout(t, readiness.CaseOnTrack)
	p, _ := page(t, h, Options{Choice: "es"})
	require.Equal(t, sentences(t).Sentences["unreviewed"]["es"], p.Cautions[0])
	require.Equal(t, []string{p.Cautions[0]}, p.Notices)
	p, _ = page(t, h, Options{})
	require.Equal(t, sentences(t).Sentences["caution"]["en"], p.Cautions[0])
	require.Empty(t, p.Notices)
	h.Approved = false
	p, text := page(t, h, Options{})
	require.Equal(t, sentences(t).Sentences["example"]["en"], p.Cautions[0])
	require.Less(t, strings.Index(text, p.Cautions[0]), strings.Index(text, p.Emergency.Title), "on the first page, too")
	require.Less(t, strings.Index(text, p.Emergency.Title), strings.LastIndex(text, p.Cautions[0]))
}

// A sentence without a language, or that fills in other words, is refused; so is
// a page that asks for one that is not there.
func TestSentencesAreComplete(t *testing.T) {
	body, err := api.Sheet.ReadFile("sheet/sentences.json")
	require.NoError(t, err)
	for _, c := range []struct {
		name   string
		change func(map[string]any)
		says   string
	}{
		{"no Spanish", func(s map[string]any) { delete(s["title"].(map[string]any), "es") }, `title has no "es"`},
		{"empty Spanish", func(s map[string]any) { s["title"].(map[string]any)["es"] = " " }, `title has no "es"`},
		{"another blank", func(s map[string]any) { s["printed"].(map[string]any)["es"] = "Impreso." }, "printed fills in"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var all map[string]any
			require.NoError(t, json.Unmarshal(body, &all))
			c.change(all["sentences"].(map[string]any))
			changed, err := json.Marshal(all)
			require.NoError(t, err)
			_, err = Read(changed)
			require.ErrorContains(t, err, c.says)
		})
	}
	s := sentences(t)
	delete(s.Sentences, "held-title")
	_, err = s.Page(handout(t, readiness.CaseHeld), Options{PrintedOn: day(t, "2026-11-18")})
	require.ErrorContains(t, err, "held-title")
}

// The limit of a fever is the one that the symptom report asks about.
func TestFeverIsTheQuestionnaires(t *testing.T) {
	body, err := api.FHIR.ReadFile("fhir/Questionnaire-symptom-report.json")
	require.NoError(t, err)
	s := sentences(t)
	require.Contains(t, string(body), s.Fever.Celsius+" °C ("+s.Fever.Fahrenheit+" °F)")
}

// A text is cut at its sentences and nowhere else.
func TestSentencesOf(t *testing.T) {
	require.Equal(t, []string{"Walk.", "Stop?", "No.", "¿Ya?", "Sí."}, sentencesOf("Walk. Stop? No. ¿Ya? Sí."))
	require.Equal(t, []string{"About 30 cm, e.g. one foot.", "Go"}, sentencesOf("About 30 cm, e.g. one foot. Go"))
}
