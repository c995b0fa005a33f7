package conformance

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"net/http"
	"slices"
	"strings"
	"time"
)

// shown is how much of a body a failing test prints, in bytes.
const shown = 4000

var marks = map[Verdict]string{Pass: "ok", Fail: "FAIL", Warning: "warn"}

// printTest prints a line, and for a failed test what was sent, what came back,
// and what was expected.
func printTest(w io.Writer, t TestResult) {
	fmt.Fprintf(w, "%-4s  %-62s %6d ms\n", marks[t.Verdict], t.Name(), t.Took.Milliseconds())
	for _, a := range t.Actions {
		if a.Verdict == Warning {
			fmt.Fprintf(w, "      warning: %s%s\n", about(a), a.Message)
		}
	}
	a := t.failed()
	if a == nil {
		return
	}
	if t.SetupFailed {
		fmt.Fprint(w, "      not begun: the setup of its script failed\n")
	}
	if t.About != "" {
		fmt.Fprintf(w, "      %s\n", t.About)
	}
	fmt.Fprintf(w, "      %s%s\n", about(*a), a.Message)
	if a.Exchange != nil {
		printExchange(indented{w}, a.Exchange)
	}
}

func about(a ActionResult) string {
	if a.About == "" {
		return ""
	}
	return a.About + ": "
}

func printExchange(w io.Writer, x *Exchange) {
	fmt.Fprintf(w, "request   %s %s\n", x.Method, x.URL)
	printMessage(w, x.Header, x.Body)
	if x.Status == 0 {
		fmt.Fprintln(w, "response  none")
		return
	}
	fmt.Fprintf(w, "response  %d %s\n", x.Status, http.StatusText(x.Status))
	printMessage(w, x.ResponseHeader, x.ResponseBody)
}

func printMessage(w io.Writer, header http.Header, body []byte) {
	for _, name := range slices.Sorted(maps.Keys(header)) {
		if name != "Authorization" {
			fmt.Fprintf(w, "          %s: %s\n", name, strings.Join(header[name], ", "))
		}
	}
	if len(body) == 0 {
		return
	}
	var neat bytes.Buffer
	if json.Indent(&neat, body, "", " ") == nil {
		body = neat.Bytes()
	}
	cut := ""
	if len(body) > shown {
		cut = fmt.Sprintf("\n… %d bytes more", len(body)-shown)
		body = body[:shown]
	}
	text := strings.ToValidUTF8(string(body), "�") + cut
	fmt.Fprintf(w, "          %s\n", strings.ReplaceAll(text, "\n", "\n          "))
}

// indented puts blanks before each line.
type indented struct{ to io.Writer }

func (i indented) Write(b []byte) (int, error) {
	text := strings.TrimSuffix(string(b), "\n")
	_, err := io.WriteString(i.to, "      "+strings.ReplaceAll(text, "\n", "\n      ")+"\n")
	return len(b), err
}

// printSum prints the last line.
func printSum(w io.Writer, r *Results) {
	tests := r.Tests()
	warned := 0
	for _, t := range tests {
		if t.Verdict == Warning {
			warned++
		}
	}
	fmt.Fprintf(w, "%d tests: %d passed, %d of them with warnings, and %d failed, in %s\n",
		len(tests), len(tests)-r.Failed(), warned, r.Failed(), r.Took.Round(10*time.Millisecond))
}
