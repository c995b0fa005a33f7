package sheet

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// The form of the address is RFC 3966 (published), the length of a number ITU-T
// E.164 (published; 15 digits from memory).
func TestDial(t *testing.T) {
	for text, want := range map[string]string{
		"555-0142": "tel:5550142", " 555 0142 ": "tel:5550142", "+1 (999) 555-0142": "tel:+19995550142",
		"+44 (0)99 5550 0142": "tel:+449955500142", "(999) 555.0142": "tel:9995550142",
		"555-0142 ext. 12": "tel:5550142;ext=12", "555-0142 x12": "tel:5550142;ext=12",
		"555-0142 or 555-0143": "", "555-0142/43": "", "555-HELP": "", "ask the ward": "", "": "", "12": "", "0123456789012345": "",
		"javascript:alert(1)": "", "555-0142\nx": "",
	} {
		require.Equal(t, want, string(Dial(text)), text)
	}
}

// Numbers can be pressed; the emergency number is named and never a number.
func TestNumbersOfTheSheetCanBePressed(t *testing.T) {
	_, text := page(t, handout(t, readiness.CaseOnTrack), Options{Phone: "555-0142", OnCall: "the ward, ask for Idony"})
	require.Contains(t, text, `<a class="number" href="tel:5550142">555-0142</a>`)
	require.Contains(t, text, `<span class="number">the ward, ask for Idony</span>`)
	require.NotRegexp(t, `tel:(911|112|999|000)`, text)
	require.Regexp(t, `@media print \{[^@]*a \{ color: inherit; text-decoration: none; \}`, text, "on paper it is a plain number")
}
