package translate

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// Published rows for medicines around surgery, with the last dose counted by
// hand for S, Monday 2026-11-30, anaesthesia at 08:00 in Chicago. n whole days
// without a dose mean a last dose on D-(n+1) (2023 ACC/AHA/ACCP/HRS guideline,
// Table 18, footnote; secondary).
const (
	chest  = "Chest 2022;162(5):e207-e243"
	af     = "2023 ACC/AHA/ACCP/HRS guideline, Table 18"
	pause  = "PAUSE, JAMA Intern Med 2019;179:1469-1478"
	asra   = "regional anaesthesia and antithrombotics, 5th edition 2025"
	asra4  = "regional anaesthesia and antithrombotics, 4th edition 2018"
	acr    = "2022 ACR/AAHKS guideline summary"
	label  = "US label change of 2020-03-17"
	ada    = "ADA Standards of Care, Diabetes in the Hospital"
	glp    = "multisociety guidance 2024-10-29, with the intervals of 2023-06-29"
	halves = "five half-lives, a review quoted by a question and answer page"

	usual   = "an open anaesthesia reference work, page Preoperative medication management"
	hipPage = "a hospital's education page on total hip replacement, 8th edition, 2020"
)

const onS8 = "2026-11-30 08:00"

// about is a case on S with facts, and no others.
func (f Facility) about(t *testing.T, facts map[string]any) *readiness.Case {
	c := f.hipOn(t, onS8)
	c.Facts = facts
	return &c
}

func kindOf(t *testing.T, p *Protocol, key string) medicineKind {
	for _, k := range p.drugs.kinds {
		if k.key == "medicine-"+key {
			return k
		}
	}
	require.Fail(t, "no rules for "+key)
	return medicineKind{}
}

func cleared(v float64) map[string]any { return map[string]any{"creatinine_clearance": v} }

// with adds facts; without a spinal and without anything that a specialist
// decides on, unless said.
func with(facts map[string]any, more ...any) map[string]any {
	out := map[string]any{"neuraxial": false, "mechanical_valve": false, "recent_clot": false, "recent_stent": false}
	for name, v := range facts {
		out[name] = v
	}
	for n := 0; n < len(more); n += 2 {
		out[more[n].(string)] = more[n+1]
	}
	return out
}

func TestPublishedLastDoses(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	needle := []any{"neuraxial", true}
	for _, r := range []struct {
		key    string
		facts  map[string]any
		dose   float64
		last   string // "": none is proposed
		by     string // who decides, where none is
		source string
		mark   string
	}{
		{"warfarin", with(nil), 0, "2026-11-24", "", chest, secondary},
		{"warfarin", with(nil, needle...), 0, "2026-11-24", "", asra, secondary},
		{"warfarin", with(nil, "mechanical_valve", true), 0, "", "the cardiologist or haematologist", chest, fromMemory},
		{"warfarin", with(nil, "recent_clot", true), 0, "", "the cardiologist or haematologist", chest, fromMemory},
		{"apixaban", with(cleared(60)), 5, "2026-11-27", "", af, secondary},
		{"apixaban", with(cleared(25.1)), 5, "2026-11-27", "", af, secondary},
		{"apixaban", with(cleared(25)), 5, "", "the haematologist or cardiologist", af, secondary},
		{"apixaban", with(cleared(60), needle...), 5, "2026-11-27 08:00", "", asra, secondary},
		{"apixaban", with(cleared(60), needle...), 0, "2026-11-27 08:00", "", asra + ": an unknown dose counts as a high one", practice},
		{"apixaban", with(cleared(60), needle...), 2.5, "2026-11-27", "", asra + ": 36 h, so that the two whole days are stricter", secondary},
		{"rivaroxaban", with(cleared(30.1)), 20, "2026-11-27", "", af, secondary},
		{"rivaroxaban", with(cleared(30)), 20, "", "the haematologist or cardiologist", af, secondary},
		{"rivaroxaban", with(cleared(60), needle...), 20, "2026-11-27 08:00", "", asra, secondary},
		{"edoxaban", with(cleared(15.1)), 60, "2026-11-27", "", af, secondary},
		{"edoxaban", with(cleared(15)), 60, "", "the haematologist or cardiologist", af, secondary},
		{"edoxaban", with(cleared(60), needle...), 60, "2026-11-27 08:00", "", asra, fromMemory},
		{"dabigatran", with(cleared(80)), 150, "2026-11-27", "", pause, published},
		{"dabigatran", with(cleared(50.001)), 150, "2026-11-27", "", pause, published},
		{"dabigatran", with(cleared(50)), 150, "2026-11-25", "", "two sources differ on exactly 50: the safer branch", practice},
		{"dabigatran", with(cleared(46)), 150, "2026-11-25", "", pause, published},
		{"dabigatran", with(cleared(30)), 150, "2026-11-25", "", pause, published},
		{"dabigatran", with(cleared(29.9)), 150, "", "the haematologist or cardiologist", af, secondary},
		{"dabigatran", with(cleared(80), needle...), 150, "2026-11-27 08:00", "", asra4, fromMemory},
		{"dabigatran", with(cleared(79.9), needle...), 150, "2026-11-26 08:00", "", asra4, fromMemory},
		{"dabigatran", with(cleared(50.1), needle...), 150, "2026-11-26 08:00", "", asra4, fromMemory},
		{"dabigatran", with(cleared(50), needle...), 150, "2026-11-25 08:00", "", asra4, fromMemory},
		{"dabigatran", with(cleared(30), needle...), 150, "2026-11-25 08:00", "", asra4, fromMemory},
		{"enoxaparin", with(nil), 80, "2026-11-29 08:00", "", chest, secondary},
		{"enoxaparin", with(nil, needle...), 80, "2026-11-29 08:00", "", asra, secondary},
		{"enoxaparin", with(nil, needle...), 40, "2026-11-29 20:00", "", asra, secondary},
		{"heparin", with(nil), 0, "2026-11-30 04:00", "", chest, secondary},
		{"fondaparinux", with(nil), 0, "", "the anaesthetist with the haematologist", "no interval in check values", fromMemory},
		{"clopidogrel", with(nil), 75, "2026-11-24", "", chest, secondary},
		{"clopidogrel", with(nil, needle...), 75, "2026-11-22", "", asra4, fromMemory},
		{"clopidogrel", with(nil, "recent_stent", true), 75, "", "the cardiologist", chest, fromMemory},
		{"ticagrelor", with(nil), 90, "2026-11-24", "", chest + ": 3 to 5 days, the longer", secondary},
		{"ticagrelor", with(nil, needle...), 90, "2026-11-22", "", asra4, fromMemory},
		{"prasugrel", with(nil), 10, "2026-11-22", "", chest, secondary},
		{"prasugrel", with(nil, needle...), 10, "2026-11-19", "", asra4 + ": 7 to 10 days, the longer", fromMemory},

		{"tofacitinib", with(nil), 0, "2026-11-26", "", acr, published},
		{"baricitinib", with(nil), 0, "2026-11-26", "", acr, published},
		{"upadacitinib", with(nil), 0, "2026-11-26", "", acr, published},

		{"canagliflozin", with(nil), 0, "2026-11-26", "", label, secondary},
		{"dapagliflozin", with(nil), 0, "2026-11-26", "", label, secondary},
		{"empagliflozin", with(nil), 0, "2026-11-26", "", label, secondary},
		{"ertugliflozin", with(nil), 0, "2026-11-25", "", label, secondary},
		{"bexagliflozin", with(nil), 0, "2026-11-26", "", "label", fromMemory},
		{"sotagliflozin", with(nil), 0, "2026-11-26", "", "label", fromMemory},
		{"metformin", with(nil), 0, "2026-11-29", "", ada, secondary},
		{"other-glucose-tablets", with(nil), 0, "2026-11-29", "", ada, secondary},
		{"insulin", with(nil), 0, "", "the prescriber", ada, secondary},
		{"semaglutide", with(nil, "dose_interval", 7.0), 0, "", "the prescriber with the anaesthetist", glp, published},
		{"liraglutide", with(nil, "dose_interval", 1.0), 0, "", "the prescriber with the anaesthetist", glp, published},
		{"blood-pressure-renin-medicines", with(nil), 0, "", "the prescriber", "2024 AHA/ACC guideline against a trial", fromMemory},
		{"supplements", with(nil), 0, "2026-11-15", "", "sources differ, 7 or 14 days: the longer", fromMemory},
		{"oestrogens", with(nil), 0, "", "the prescriber", "no firm rule", fromMemory},
		{"raloxifene", with(nil), 0, "2026-11-27 08:00", "", "its label", fromMemory},
		{"ibuprofen", with(nil), 0, "2026-11-28", "", halves, secondary},
		{"diclofenac", with(nil), 0, "2026-11-28", "", halves, secondary},
		{"ketorolac", with(nil), 0, "2026-11-28", "", halves, secondary},
		{"etodolac", with(nil), 0, "2026-11-27", "", halves, secondary},
		{"indomethacin", with(nil), 0, "2026-11-27", "", halves, secondary},
		{"naproxen", with(nil), 0, "2026-11-25", "", halves, secondary},
		{"meloxicam", with(nil), 0, "2026-11-25", "", halves, secondary},
		{"nabumetone", with(nil), 0, "2026-11-25", "", halves, secondary},
		{"oxaprozin", with(nil), 0, "2026-11-23", "", halves, secondary},
		{"piroxicam", with(nil), 0, "2026-11-19", "", halves, secondary},
		{"naltrexone", with(nil), 0, "", "the anaesthetist", "pain plan first", practice},
		{"buprenorphine", with(nil), 0, "", "the anaesthetist with its prescriber", "pain plan first", practice},
		{"mao-inhibitors", with(nil), 0, "", "the anaesthetist", "reacts with medicines of the anaesthetic", practice},
		{"other-vitamin-k-antagonists", with(nil), 0, "", "the prescriber with the haematologist", "intervals differ", fromMemory},
	} {
		name := r.key
		if r.facts["neuraxial"] == true {
			name += " with a needle"
		}
		t.Run(name, func(t *testing.T) {
			m := readiness.Medicine{Key: r.key, Name: r.key, Rules: kindOf(t, p, r.key).rules, Dose: r.dose}
			a := readiness.Advise(&m, f.about(t, r.facts), f.Calendar)
			require.Empty(t, a.Needs)
			require.Equal(t, r.last, byHand(a.Last), "%s (%s)", r.source, r.mark)
			require.Equal(t, r.by, a.Decides, "%s (%s)", r.source, r.mark)
			require.True(t, a.Asked())
		})
	}
}

// What goes on through surgery, and what must never be stopped for it.
func TestMedicinesThatGoOn(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	severe := with(nil, "lupus", true, "severe_lupus", true)
	for _, r := range []struct {
		key, source, mark string
		facts             map[string]any
	}{
		{"methotrexate", acr, published, with(nil)}, {"sulfasalazine", acr, published, with(nil)},
		{"hydroxychloroquine", acr, published, with(nil)}, {"leflunomide", acr, published, with(nil)},
		{"doxycycline", acr, published, with(nil)}, {"apremilast", acr, published, with(nil)},
		{"mycophenolate", acr, published, severe}, {"azathioprine", acr, published, severe},
		{"ciclosporin", acr, published, severe}, {"tacrolimus", acr, published, severe},
		{"voclosporin", acr, published, with(nil)}, {"belimumab", acr, published, with(severe, "dose_interval", 7.0)},
		{"aspirin", chest, secondary, with(nil)}, {"celecoxib", "one practice page", secondary, with(nil)},
		{"beta-blockers", "dangerous to stop", practice, with(nil)}, {"statins", "dangerous to stop", practice, with(nil)},
		{"steroids", "usual daily dose", fromMemory, with(nil)}, {"anti-seizure-medicines", "dangerous to stop", practice, with(nil)},
		{"parkinson-medicines", "dangerous to stop", practice, with(nil)},
		{"thyroid-hormones", usual, secondary, with(nil)}, {"proton-pump-inhibitors", hipPage, secondary, with(nil)},
		{"h2-blockers", hipPage, secondary, with(nil)}, {"paracetamol", "a hospital's guideline of 2016", secondary, with(nil)},
		{"inhaled-airway-medicines", usual, secondary, with(nil)}, {"calcium-channel-blockers", usual, secondary, with(nil)},
		{"glaucoma-eye-drops", "the pressure in the eye rises without them", practice, with(nil)},
	} {
		t.Run(r.key, func(t *testing.T) {
			m := readiness.Medicine{Key: r.key, Name: r.key, Rules: kindOf(t, p, r.key).rules, Facts: map[string]any{}}
			a := readiness.Advise(&m, f.about(t, r.facts), f.Calendar)
			require.True(t, a.Continues, "%s (%s)", r.source, r.mark)
			require.False(t, a.Asked())
			require.Zero(t, a.Last)
		})
	}
}

// Severe lupus: the rheumatologist decides, no date is proposed (ACR/AAHKS 2022,
// published; the week of the cycle is told).
func TestSevereLupus(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	for key, interval := range map[string]float64{"rituximab": 140, "belimumab": 28, "anifrolumab": 28} {
		m := readiness.Medicine{Key: key, Name: key, Rules: kindOf(t, p, key).rules, Last: readiness.Moment{Day: date(t, "2026-05-01")}}
		a := readiness.Advise(&m, f.about(t, with(nil, "lupus", true, "severe_lupus", true, "dose_interval", interval)), f.Calendar)
		require.Equal(t, "the rheumatologist", a.Decides, key)
		require.Zero(t, a.Last, key)
	}
	m := readiness.Medicine{Key: "tacrolimus", Name: "Tacrolimus", Rules: kindOf(t, p, "tacrolimus").rules}
	a := readiness.Advise(&m, f.about(t, with(nil, "lupus", false)), f.Calendar)
	require.Equal(t, "the specialist who prescribes it", a.Decides, "a transplant, for instance (from memory)")
	a = readiness.Advise(&m, f.about(t, with(nil)), f.Calendar)
	require.Zero(t, a.Last)
	require.Contains(t, a.Needs, "whether this medicine is for lupus")
}

// Each row of the table of antirheumatic medicines (ACR/AAHKS 2022, published;
// the days after the last dose are computed from the weeks, and are an
// interpretation at their very edges) at both ends of its window: a day too
// soon, the first day, the last day, and a day past it.
func TestAntirheumaticWindows(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	for _, r := range []struct {
		key      string
		interval float64
		from, to int // days after the last dose; to 0: no end
	}{
		{"infliximab", 28, 28, 34}, {"infliximab", 42, 42, 48}, {"infliximab", 56, 56, 62},
		{"adalimumab", 14, 14, 20}, {"etanercept", 7, 7, 13},
		{"golimumab", 28, 28, 34}, {"golimumab", 56, 56, 62},
		{"abatacept", 30, 28, 34}, {"abatacept", 7, 7, 13},
		{"certolizumab", 14, 14, 20}, {"certolizumab", 28, 28, 34},
		{"tocilizumab", 7, 7, 13}, {"tocilizumab", 28, 28, 34},
		{"anakinra", 1, 2, 0}, {"secukinumab", 28, 28, 34}, {"ixekizumab", 28, 28, 34},
		{"ustekinumab", 84, 84, 90}, {"guselkumab", 56, 56, 62},
		{"belimumab", 28, 28, 34}, {"belimumab", 7, 7, 13},
		{"mycophenolate", 1, 7, 0}, {"azathioprine", 1, 7, 0}, {"ciclosporin", 1, 7, 0}, {"tacrolimus", 1, 7, 0},
	} {
		at := func(ago int) (readiness.MedicineAdvice, readiness.Fit) {
			c := f.about(t, with(nil, "lupus", true, "severe_lupus", false, "dose_interval", r.interval))
			m := readiness.Medicine{Key: r.key, Name: r.key, Rules: kindOf(t, p, r.key).rules, Last: readiness.Moment{Day: c.Day.Add(-ago)}}
			a := readiness.Advise(&m, c, f.Calendar)
			require.Len(t, a.Candidates, 1, "one row fits %s every %v days", r.key, r.interval)
			return a, a.Candidates[0].Fit
		}
		a, fit := at(r.from)
		require.Equal(t, readiness.InWindow, fit, r.key)
		require.Equal(t, a.Day.Add(-r.from), a.Last.Day, "%s: the latest last dose", r.key)
		_, fit = at(r.from - 1)
		require.Equal(t, readiness.TooSoon, fit, r.key)
		if r.to == 0 {
			_, fit = at(400)
			require.Equal(t, readiness.InWindow, fit, r.key)
			continue
		}
		require.Equal(t, a.Day.Add(-r.to), a.Candidates[0].First.Day, "%s: the earliest last dose", r.key)
		_, fit = at(r.to)
		require.Equal(t, readiness.InWindow, fit, r.key)
		_, fit = at(r.to + 1)
		require.Equal(t, readiness.PastWindow, fit, r.key)
	}
}

// Six calendar months for rituximab: month 7 begins when they are over (ACR/AAHKS
// 2022, published). Months are of different lengths.
func TestRituximabMonths(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	for _, r := range []struct {
		surgery, last string // the latest last dose
	}{
		{"2026-11-30", "2026-05-31"}, {"2026-12-01", "2026-06-01"},
		{"2026-08-31", "2026-02-28"}, {"2027-02-28", "2026-08-31"},
	} {
		c := f.hipOn(t, r.surgery+" 08:00")
		c.Facts = with(nil)
		for ago, fit := range map[int]readiness.Fit{0: readiness.InWindow, 1: readiness.TooSoon} {
			m := readiness.Medicine{Key: "rituximab", Name: "Rituximab", Rules: kindOf(t, p, "rituximab").rules,
				Last: readiness.Moment{Day: date(t, r.last).Add(ago)}}
			a := readiness.Advise(&m, &c, f.Calendar)
			require.Equal(t, r.last, a.Last.Day.String())
			require.Equal(t, fit, a.Candidates[len(a.Candidates)-1].Fit, "%s after %s", r.surgery, m.Last.Day)
			require.Contains(t, a.Asks, "whether the person has lupus that threatens an organ")
		}
	}
}
