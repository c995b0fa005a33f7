package calendar_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
)

func TestParseOperatingDays(t *testing.T) {
	for _, c := range []struct {
		text string
		want string // first letters, from Monday
	}{
		{"Mon-Fri", "Mon Tue Wed Thu Fri"},
		{"Mon,Tue,Thu", "Mon Tue Thu"},
		{"Mon-Thu,Sat", "Mon Tue Wed Thu Sat"},
		{"Thu,Mon", "Mon Thu"},
		{" mon - wed , SAT ", "Mon Tue Wed Sat"},
		{"Sat-Mon", "Mon Sat Sun"},
		{"Sun-Thu", "Mon Tue Wed Thu Sun"},
		{"Mon-Sun", "Mon Tue Wed Thu Fri Sat Sun"},
		{"Wed", "Wed"},
		{"Wed-Wed", "Wed"},
	} {
		t.Run(c.text, func(t *testing.T) {
			days, err := calendar.ParseOperatingDays(c.text)
			require.NoError(t, err)
			require.Equal(t, c.want, letters(days))
		})
	}
	for _, text := range []string{
		"", " ", ",", "Mon,", ",Mon", "Mon,,Tue", "Monday", "Mo", "Mon-", "-Fri", "Mon-Fri-Sat", "Mon Tue", "1-5",
		"Mon,Mon", "Mon-Wed,Tue", "Mon-Sun,Mon", "Mon–Fri",
	} {
		t.Run("refuses "+text, func(t *testing.T) {
			days, err := calendar.ParseOperatingDays(text)
			require.ErrorIs(t, err, calendar.ErrWeekdays)
			require.Nil(t, days)
		})
	}
}

func letters(days []time.Weekday) string {
	var names []string
	for _, day := range days {
		names = append(names, day.String()[:3])
	}
	return strings.Join(names, " ")
}

func FuzzParseOperatingDays(f *testing.F) {
	for _, s := range []string{"Mon-Fri", "Mon,Tue,Thu", "Mon-Thu,Sat", "Sat-Mon", "", "Mon,Mon", "x", "Mon-Sun,Mon"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		days, err := calendar.ParseOperatingDays(s)
		if err != nil {
			require.ErrorIs(t, err, calendar.ErrWeekdays)
			return
		}
		_, err = calendar.New(calendar.Options{Zone: time.UTC, OperatingDays: days})
		require.NoError(t, err)
		again, err := calendar.ParseOperatingDays(strings.ReplaceAll(letters(days), " ", ","))
		require.NoError(t, err)
		require.Equal(t, days, again)
	})
}
