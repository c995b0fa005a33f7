package readiness_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// Worked examples of the Cockcroft-Gault formula. One page that was found gives
// the fifth as 80.9: it cut the figure off instead of rounding it.
func TestCockcroftGault(t *testing.T) {
	const page = "worked examples on public pages; formula of Cockcroft and Gault, Nephron 1976;16:31-41"
	for _, r := range []struct {
		age               int
		sex               readiness.Sex
		weight, scr, want float64
		source, mark      string
	}{
		{65, readiness.Male, 70, 1.4, 52.083, page, "secondary"},
		{60, readiness.Male, 80, 1.2, 74.074, page, "secondary"},
		{50, readiness.Male, 80, 1.0, 100, page, "secondary"},
		{45, readiness.Female, 60, 0.9, 74.769, page, "secondary"},
		{45, readiness.Female, 65, 0.9, 80.999, page + "; it prints 80.9", "secondary"},
		{72, readiness.Female, 68, 110 / readiness.MicromolesPerMilligram, 43.87, "computed by hand: 110 µmol/L divided by 88.4", "computed"},
	} {
		got := readiness.CockcroftGault(r.age, r.weight, r.scr, r.sex)
		require.InDelta(t, r.want, got, 0.004, "%s (%s)", r.source, r.mark)
	}
}

// A clearance that is exactly at a limit must compare as being at it, whatever
// binary fractions make of it on the way.
func TestClearanceAtALimit(t *testing.T) {
	for _, r := range []struct {
		age         int
		weight, scr float64
		sex         readiness.Sex
	}{
		{40, 36, 1, readiness.Male}, // 100 × 36 / 72
		{40, 72, 1.7, readiness.Female},
		{60, 63, 1.4, readiness.Male},       // 80 × 63 / 100.8
		{70, 54, 0.7 * 1.5, readiness.Male}, // 70 × 54 / 75.6
		{72, 72, 1.156, readiness.Female},   // 68 × 72 × 0.85 / 83.232
	} {
		require.Equal(t, 50.0, readiness.CockcroftGault(r.age, r.weight, r.scr, r.sex))
	}
}

// What is missing is named, and nothing stands in for it.
func TestClearanceNeeds(t *testing.T) {
	whole := readiness.Kidney{
		Creatinine: readiness.Reading{Value: 1.4, On: day(t, "2026-11-02"), MaxAge: 90},
		Weight:     readiness.Reading{Value: 70, On: day(t, "2026-11-02"), MaxAge: 90},
		Born:       day(t, "1961-11-30"), Sex: readiness.Male,
	}
	surgery := day(t, "2026-11-30")
	v, needs := whole.Clearance(surgery)
	require.Empty(t, needs)
	require.InDelta(t, 52.083, v, 0.001, "65 years old on the very day")
	v, _ = whole.Clearance(day(t, "2026-11-29"))
	require.InDelta(t, 76*70/100.8, v, 0.001, "64 the day before")

	for name, r := range map[string]struct {
		change func(*readiness.Kidney)
		needs  string
	}{
		"no creatinine":   {func(k *readiness.Kidney) { k.Creatinine = readiness.Reading{MaxAge: 90} }, "what the creatinine is"},
		"another unit":    {func(k *readiness.Kidney) { k.Creatinine.Unread = true }, "what the creatinine is, in mg/dL or µmol/L (the newest figure has another unit)"},
		"91 days old":     {func(k *readiness.Kidney) { k.Creatinine.On = day(t, "2026-08-31") }, "what the creatinine is now (the newest figure is of Mon 31 Aug 2026 and may be 90 days old on the day of surgery)"},
		"nought":          {func(k *readiness.Kidney) { k.Creatinine.Value = 0 }, "what the creatinine is (the newest figure is not above zero)"},
		"no weight":       {func(k *readiness.Kidney) { k.Weight = readiness.Reading{} }, "what the weight is"},
		"no day of birth": {func(k *readiness.Kidney) { k.Born = 0 }, "on which day the person was born"},
		"sex not said":    {func(k *readiness.Kidney) { k.Sex = readiness.UnknownSex }, "which sex the formula for kidney function is to use"},
	} {
		t.Run(name, func(t *testing.T) {
			k := whole
			r.change(&k)
			_, needs := k.Clearance(surgery)
			require.Equal(t, []string{r.needs}, needs)
		})
	}
	k := whole
	k.Creatinine.On = day(t, "2026-09-01")
	_, needs = k.Clearance(surgery)
	require.Empty(t, needs, "90 days old still counts")
}
