package desk

import (
	"net/http"
	"net/http/httptest"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// No form leads to an address that is not ours.
func TestLocal(t *testing.T) {
	for path, want := range map[string]string{
		"/desk": "/desk", "/desk?more=calls": "/desk?more=calls", "/desk/case/x": "/desk/case/x",
		"": Root, "//elsewhere.example/desk": Root, "https://elsewhere.example": Root, "/deskolate": Root, "/fhir/Task": Root,
		"/desk/\\elsewhere.example": Root, "/desk/\r\nSet-Cookie: x": Root, "javascript:alert(1)": Root,
	} {
		require.Equal(t, want, local(path), path)
	}
}

func TestNames(t *testing.T) {
	for written, want := range map[string]string{
		"  Idony \t Quillfeather ": "Idony Quillfeather", "Zoë Ångström": "Zoë Ångström", "a\x00b\nc": "a b c", "": "",
		strings.Repeat("x", maxName+1): "",
	} {
		require.Equal(t, want, cleanName(written))
	}
	r := httptest.NewRequest(http.MethodGet, Root, nil)
	require.Empty(t, nameOf(r))
	r.AddCookie(&http.Cookie{Name: meCookie, Value: "Zo%C3%AB"})
	require.Equal(t, "Zoë", nameOf(r))
	r = httptest.NewRequest(http.MethodGet, Root, nil)
	r.AddCookie(&http.Cookie{Name: meCookie, Value: "%zz"})
	require.Empty(t, nameOf(r))
}

// Every state that the rules know has a word and a shape, and no two states of
// one kind look and read the same.
func TestEveryStateHasAWordAndAShape(t *testing.T) {
	items := []readiness.ItemState{
		readiness.Upcoming, readiness.Open, readiness.Due, readiness.Late, readiness.Missed, readiness.Paused,
		readiness.StateDone, readiness.Expired, readiness.StateWaived, readiness.Needless,
	}
	words, drawn := map[string]bool{}, map[string]bool{}
	for _, s := range items {
		m := itemMarks[s]
		require.NotEmpty(t, m.Word, s)
		require.NotEmpty(t, shapes[m.Kind], s)
		words[m.Word], drawn[shapes[m.Kind]] = true, true
		require.GreaterOrEqual(t, rank(s), 0, s)
	}
	require.Len(t, words, len(items))
	require.Len(t, drawn, len(items))
	words = map[string]bool{}
	for _, s := range []readiness.CaseState{
		readiness.CaseCancelled, readiness.CaseClosed, readiness.CaseHome, readiness.CaseArrived, readiness.CaseHeld,
		readiness.CaseInfeasible, readiness.CaseBehind, readiness.CaseReady, readiness.CaseOnTrack,
	} {
		require.NotEmpty(t, caseMarks[s].Word, s)
		require.NotEmpty(t, shapes[caseMarks[s].Kind], s)
		words[caseMarks[s].Word] = true
	}
	require.Len(t, words, 9)
	require.NotEmpty(t, shapes[inDoubt.Kind])
}

func TestPlainWords(t *testing.T) {
	for text, want := range map[string]string{
		"Task.executionPeriod.end: this step can be done from Monday on":                                               "This step can be done from Monday on.",
		"Task.statusReason is missing: say in statusReason.text why the step is waived":                                "Say why the step is waived.",
		"Task.output went-home (when they went home) must name at least a day, as valueDateTime or valueDate":          "The time given for when they went home must name at least a day.",
		"Task.output arrived (when the person came) is there more than once":                                           "The time given for when the person came is there more than once.",
		"Task.output went-home is missing: that the person came is known; say when they went home, or leave this open": "That the person came is known: say when they went home, or leave this open.",
		"somebody changed this item in the meantime":                                                                   "Somebody changed this item in the meantime.",
		"": "",
	} {
		require.Equal(t, want, plain(text))
	}
}

// What the API objects to on a Task is said at the desk without the names of
// FHIR elements and codes: every text of the judging code is read.
func TestNursesWords(t *testing.T) {
	texts := regexp.MustCompile(`refuse\("[\w.]+", "[\w-]+", "((?:[^"\\]|\\.)*)"`)
	total := 0
	for _, name := range []string{"work.go", "signing.go", "untildone.go"} {
		source, err := os.ReadFile("../translate/" + name)
		require.NoError(t, err)
		for _, m := range texts.FindAllStringSubmatch(string(source), -1) {
			total++
			said := plain(m[1])
			require.NotRegexp(t, `Task|statusReason|executionPeriod|owner\b|output|Practitioner|valueDate|system`, said)
			require.NotEmpty(t, said)
		}
	}
	require.Greater(t, total, 15, "the texts were found")
}

// A text that a spreadsheet would run is kept a text.
func TestInert(t *testing.T) {
	for text, want := range map[string]string{"=1+1": "'=1+1", "+1": "'+1", "-1": "'-1", "@x": "'@x", "\tx": "'\tx", "Alder": "Alder", "": ""} {
		require.Equal(t, want, inert(text))
	}
}

func TestNiceStep(t *testing.T) {
	for most, want := range map[int]int{1: 1, 6: 1, 7: 2, 12: 2, 13: 5, 30: 5, 31: 10, 55: 10, 61: 20, 3000: 500} {
		require.Equal(t, want, niceStep(most), most)
	}
}
