package conformance

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"strings"
	"time"
)

// Exit codes of Run.
const (
	exitPassed  = 0
	exitFailed  = 1
	exitMisused = 2
)

const usage = `conform tests a FHIR R4 server: it plays the conformance kit against the address
of its API, prints a line for each test, and for a failing test what was sent,
what came back and what was expected.

  conform [settings] http://127.0.0.1:8080/fhir
  conform -send FILE|DIR [settings] http://127.0.0.1:8080/fhir

The tests make records of their own on the server, with new identifiers in each
run, and take nothing away that was there. Use a server for tests all the same.

With -send it plays your own resources and Bundles (JSON) instead, in the order
of their names, and prints what came of each.

It leaves with 0 when all is well, 1 when a test failed or a record was refused,
and 2 when it was not used rightly or nothing answers.

Settings:
`

// command is what Run was asked to do.
type command struct {
	base, token, only, today     string
	send, scripts, report, junit string
	list                         bool
	stdout                       io.Writer
	now                          func() time.Time
	client                       *http.Client
}

// Run is the program conform: it reads its arguments, does what they say, and
// gives the exit code.
func Run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	c := command{stdout: stdout, now: time.Now, client: &http.Client{
		Timeout: time.Minute,
		// A redirect is an answer, too, and the token is for one server.
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}}
	help, err := c.parse(args)
	if help != "" {
		fmt.Fprint(stdout, help)
		return exitPassed
	}
	failed := false
	switch {
	case err != nil:
	case c.list:
		err = c.names()
	case c.send != "":
		failed, err = c.play(ctx)
	default:
		failed, err = c.test(ctx)
	}
	if err != nil {
		fmt.Fprintln(stderr, "conform:", err)
		return exitMisused
	}
	if failed {
		return exitFailed
	}
	return exitPassed
}

var errUsage = errors.New("name the address of one FHIR API, such as http://127.0.0.1:8080/fhir; -help says more")

// parse reads the arguments; settings may stand before and after the address.
// help is what -help prints.
func (c *command) parse(args []string) (help string, err error) {
	fs := flag.NewFlagSet("conform", flag.ContinueOnError)
	fs.SetOutput(io.Discard)
	fs.StringVar(&c.token, "token", "", "bearer `token` that is sent with every request (or CONFORM_TOKEN in the environment)")
	fs.StringVar(&c.only, "only", "", "`names` of tests or scripts, joined by commas: conditional, or conditional/if-match-of-an-older-version")
	fs.BoolVar(&c.list, "list", false, "print the names of the tests, and leave")
	fs.StringVar(&c.today, "today", "", "the server's `date`, where its clock stands still (default: as its answers say)")
	fs.StringVar(&c.report, "report", "", "`file` for the results as FHIR TestReports")
	fs.StringVar(&c.junit, "junit", "", "`file` for the results as JUnit XML")
	fs.StringVar(&c.scripts, "scripts", "", "`folder` of other TestScripts, and their fixtures, to play instead of the kit")
	fs.StringVar(&c.send, "send", "", "`file` or folder of your own records, to send in the order of their names")
	var rest []string
	for {
		err = fs.Parse(args)
		if errors.Is(err, flag.ErrHelp) {
			var out strings.Builder
			fs.SetOutput(&out)
			fs.PrintDefaults()
			return usage + out.String(), nil
		}
		if err != nil {
			return "", fmt.Errorf("%w; -help lists the settings", err)
		}
		if fs.NArg() == 0 {
			break
		}
		rest, args = append(rest, fs.Arg(0)), fs.Args()[1:]
	}
	if c.token == "" {
		c.token = os.Getenv("CONFORM_TOKEN")
	}
	if c.list && len(rest) == 0 {
		return "", nil
	}
	if len(rest) != 1 {
		return "", errUsage
	}
	u, err := url.Parse(rest[0])
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" || u.RawQuery != "" {
		return "", errUsage
	}
	c.base = strings.TrimSuffix(rest[0], "/")
	return "", nil
}

func (c *command) read() ([]*Script, error) {
	if c.scripts == "" {
		return Scripts()
	}
	folder := os.DirFS(c.scripts)
	return ReadScripts(folder, folder)
}

func (c *command) names() error {
	scripts, err := c.read()
	if err != nil {
		return err
	}
	for _, s := range scripts {
		for _, t := range s.Test {
			if chosen(c.wanted(), s.Name, t.title()) {
				fmt.Fprintf(c.stdout, "%-62s %s\n", s.Name+"/"+t.title(), t.Description)
			}
		}
	}
	return nil
}

func (c *command) wanted() []string {
	return strings.FieldsFunc(c.only, func(r rune) bool { return r == ',' || r == ' ' })
}

func (c *command) options() Options {
	return Options{Base: c.base, Client: c.client, Token: c.token, Only: c.wanted(), Today: c.today, Now: c.now}
}

// test plays the scripts.
func (c *command) test(ctx context.Context) (failed bool, err error) {
	scripts, err := c.read()
	if err != nil {
		return false, err
	}
	o := c.options()
	o.Each = func(t TestResult) { printTest(c.stdout, t) }
	results, err := Execute(ctx, scripts, o)
	if err != nil {
		return false, err
	}
	fmt.Fprintf(c.stdout, "\n%s: %s\n", results.Base, results.Server)
	printSum(c.stdout, results)
	err = errors.Join(
		writeFile(c.report, func(w io.Writer) error { return WriteTestReport(w, results) }),
		writeFile(c.junit, func(w io.Writer) error { return WriteJUnit(w, results) }))
	return results.Failed() > 0, err
}

// writeFile writes a file that was asked for.
func writeFile(name string, write func(io.Writer) error) error {
	if name == "" {
		return nil
	}
	f, err := os.Create(name)
	if err != nil {
		return err
	}
	return errors.Join(write(f), f.Close())
}
