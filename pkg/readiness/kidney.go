package readiness

import (
	"fmt"
	"math"

	"example.org/countback/pkg/calendar"
)

// Kidney is what a creatinine clearance is computed from.
type Kidney struct {
	Creatinine Reading // mg/dL in serum or plasma
	Weight     Reading // kg, the person's actual weight
	Born       calendar.Date
	Sex        Sex
}

// Reading is the newest figure of its kind.
type Reading struct {
	Value  float64
	On     calendar.Date // zero: there is none
	MaxAge int           // the greatest age in days on the day of surgery
	Unread bool          // there is one, in a unit that is not understood
}

// Sex is the one that the formula asks for.
type Sex int

// The sexes of the formula.
const (
	UnknownSex Sex = iota
	Male
	Female
)

// CockcroftGault estimates the creatinine clearance in mL/min (not mL/hour, and
// not per body surface) from the age in years, the actual weight in kg and the
// creatinine in mg/dL (Cockcroft and Gault, Nephron 1976;16:31-41).
// It is not rounded for a reader; only the noise of binary fractions, nine
// places behind the point, is taken off, so that what is exactly at a limit
// compares as being at it.
func CockcroftGault(age int, weight, creatinine float64, sex Sex) float64 {
	v := float64(140-age) * weight / (72 * creatinine)
	if sex == Female {
		v *= 0.85
	}
	const places = 1e9
	return math.Round(v*places) / places
}

// MicromolesPerMilligram turns a creatinine in µmol/L into mg/dL by division.
const MicromolesPerMilligram = 88.4

// Clearance gives the clearance as it counts on a day of surgery, in mL/min, or
// what is missing for it: never a default.
func (k *Kidney) Clearance(day calendar.Date) (float64, []string) {
	var needs []string
	needs = append(needs, k.Creatinine.missing("the creatinine", "mg/dL or µmol/L", day)...)
	needs = append(needs, k.Weight.missing("the weight", "kg", day)...)
	if k.Born.IsZero() {
		needs = append(needs, "on which day the person was born")
	}
	if k.Sex == UnknownSex {
		needs = append(needs, "which sex the formula for kidney function is to use")
	}
	if len(needs) > 0 {
		return 0, needs
	}
	return CockcroftGault(age(k.Born, day), k.Weight.Value, k.Creatinine.Value, k.Sex), nil
}

// missing says what a reading lacks to count on a day.
func (r *Reading) missing(what, units string, day calendar.Date) []string {
	switch {
	case r.Unread:
		return []string{fmt.Sprintf("what %s is, in %s (the newest figure has another unit)", what, units)}
	case r.On.IsZero():
		return []string{fmt.Sprintf("what %s is", what)}
	case r.Value <= 0:
		return []string{fmt.Sprintf("what %s is (the newest figure is not above zero)", what)}
	case day.Sub(r.On) > r.MaxAge:
		return []string{fmt.Sprintf("what %s is now (the newest figure is of %s and may be %d days old on the day of surgery)", what, r.On.Format(dayLayout), r.MaxAge)}
	}
	return nil
}

// age is the number of whole years lived on a day.
func age(born, day calendar.Date) int {
	by, bm, bd := born.YMD()
	y, m, d := day.YMD()
	if m < bm || m == bm && d < bd {
		y--
	}
	return y - by
}
