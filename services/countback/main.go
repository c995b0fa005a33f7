// Command countback plans what everyone booked for an elective hip or knee
// replacement must have done, and sees to it that it is asked for in time.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"slices"
	"strings"
	"syscall"

	"github.com/peterbourgon/ff/v3"

	"example.org/countback/services/countback/internal/app"
)

const usage = `countback plans the way to a hip or knee replacement, and home again.

Commands:
  demo     play an invented hospital and show what is planned
  serve    run the service
  plan     read FHIR files and print the plan they lead to, without a server
  events   follow the events of a running service
  notifications
           take the notifications that a running service sends
  package  pack the FHIR definitions that are served into one file

"countback COMMAND -help" lists a command's settings. Each setting is also an
environment variable: COUNTBACK_ and its name, as in COUNTBACK_ZONE.

It supports licensed judgement and local policy; it does not replace either.
`

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	err := run(ctx, os.Args[1:])
	code := exitCode(err)
	if code != 0 {
		fmt.Fprintln(os.Stderr, "countback:", err)
	}
	stop()
	os.Exit(code)
}

// What the program leaves with: nothing was wrong, what was asked for failed, or it
// was called in a way that it does not know.
const (
	exitFailed  = 1
	exitMisused = 2
)

// errMisused is why nothing was done: the command line, or a setting, is wrong.
var errMisused = errors.New("see \"countback help\"")

// misused says what is wrong with a command's line, and how to learn more.
func misused(command, format string, args ...any) error {
	return fmt.Errorf("%s: %s; %w", command, fmt.Sprintf(format, args...), errMisused)
}

func exitCode(err error) int {
	switch {
	case err == nil, errors.Is(err, flag.ErrHelp):
		return 0
	case errors.Is(err, errMisused):
		return exitMisused
	}
	return exitFailed
}

func run(ctx context.Context, args []string) error {
	if len(args) == 0 {
		fmt.Fprint(os.Stderr, usage)
		return flag.ErrHelp
	}
	command, args := args[0], args[1:]
	switch command {
	case "demo":
		return runDemo(ctx, args)
	case "serve":
		return runServe(ctx, args)
	case "plan":
		return runPlan(ctx, args)
	case "events":
		return runEvents(ctx, args)
	case "notifications":
		return runNotifications(ctx, args)
	case "package":
		return runPackage(args)
	case "help", "-h", "-help", "--help":
		fmt.Print(usage)
		return nil
	}
	return misused(command, "there is no such command")
}

// flags starts a command's settings; about says in its help what it does.
func flags(name, args, about string) *flag.FlagSet {
	fs := flag.NewFlagSet(name, flag.ContinueOnError)
	fs.Usage = func() {
		fmt.Fprintf(fs.Output(), "countback %s %s\n\n%s\n\nSettings:\n", name, args, about)
		fs.PrintDefaults()
	}
	return fs
}

// parse reads the settings. What is wrong with them is told in one line; the help
// is for who asks for it.
func parse(fs *flag.FlagSet, args []string) error {
	fs.SetOutput(io.Discard)
	err := ff.Parse(fs, args, ff.WithEnvVarPrefix("COUNTBACK"))
	fs.SetOutput(os.Stderr)
	switch {
	case errors.Is(err, flag.ErrHelp):
		fs.Usage()
	case err != nil:
		return misused(fs.Name(), "%v", err)
	}
	return err
}

// parseAll is parse for a command that takes settings only.
func parseAll(fs *flag.FlagSet, args []string) error {
	if err := parse(fs, args); err != nil {
		return err
	}
	if fs.NArg() > 0 {
		return misused(fs.Name(), "%q is no setting", fs.Arg(0))
	}
	return nil
}

func runDemo(ctx context.Context, args []string) error {
	var cfg app.Config
	fs := flags("demo", "[settings]", "Plays an invented hospital through the service's own HTTP endpoints, prints the\ncases, who is in danger, whom to call today and what was published, and stays up.\nThe clock stands still. Unless told otherwise, events can be followed at 127.0.0.1:4222.")
	cfg.FacilityFlags(fs)
	cfg.ServerFlags(fs)
	fs.StringVar(&cfg.Data, "data", "", "`folder` to keep the data in (default: one that is thrown away)")
	exit := fs.Bool("exit", false, "leave after printing; ports are free ones unless named")
	if err := parseAll(fs, args); err != nil {
		return err
	}
	named := map[string]bool{}
	fs.Visit(func(f *flag.Flag) { named[f.Name] = true })
	if cfg.Today == "" {
		cfg.Today = app.DemoToday
	}
	if !named["nats-listen"] && cfg.NATS == "" {
		cfg.NATSListen = "127.0.0.1:4222"
	}
	if *exit {
		for name, addr := range map[string]*string{"addr": &cfg.Addr, "admin": &cfg.Admin, "nats-listen": &cfg.NATSListen} {
			if !named[name] {
				*addr = "127.0.0.1:0"
			}
		}
	}
	return app.Demo(ctx, cfg, *exit, os.Stdout)
}

func runServe(ctx context.Context, args []string) error {
	var cfg app.Config
	fs := flags("serve", "[settings]", "Runs the service: FHIR in, plans out, events over NATS.")
	cfg.FacilityFlags(fs)
	cfg.ServerFlags(fs)
	fs.StringVar(&cfg.Data, "data", "./countback-data", "`folder` of the database and the event stream")
	if err := parseAll(fs, args); err != nil {
		return err
	}
	log := app.Logger(os.Stderr)
	a, err := app.Start(ctx, cfg, log)
	if err != nil {
		return err
	}
	log.Info("serving", "fhir", a.URL(), "admin", a.AdminURL(), "hl7", a.HL7Addr(), "protocol", a.Office.Protocol().Canonical(), "clock", cfg.Today)
	return errors.Join(a.Wait(ctx), a.Close())
}

func runPlan(ctx context.Context, args []string) error {
	var cfg app.Config
	fs := flags("plan", "[settings] FILE...", "Reads FHIR R4 resources or Bundles (JSON) and prints the plan they lead to.")
	cfg.FacilityFlags(fs)
	output := fs.String("o", "table", "`form` of the output: table, json (a Bundle of CarePlan and Tasks), ics (a calendar) or sheet (the patient's sheet, to print)")
	language := fs.String("language", "", "`language` of the sheet where the patient prefers none: en or es")
	paper := fs.String("paper", "", "`size` of the sheet: A4 or Letter (default: what the printer holds)")
	if err := parse(fs, args); err != nil {
		return err
	}
	switch {
	case fs.NArg() == 0:
		return misused("plan", "name at least one file")
	case !slices.Contains([]string{"table", "json", "ics", "sheet"}, *output):
		return misused("plan", "-o %s is none of table, json, ics, sheet", *output)
	case !paperOf(paper):
		return misused("plan", "-paper %s is neither A4 nor Letter", *paper)
	}
	return app.PlanFiles(ctx, cfg, app.PlanOptions{
		Files: fs.Args(), Output: *output, Language: *language, Paper: *paper,
	}, os.Stdout)
}

// paperOf writes a size of paper as it is written, however it was typed, and
// reports whether there is such a one.
func paperOf(paper *string) bool {
	sizes := []string{"", "A4", "Letter"}
	n := slices.IndexFunc(sizes, func(s string) bool { return strings.EqualFold(s, *paper) })
	if n >= 0 {
		*paper = sizes[n]
	}
	return n >= 0
}

func runEvents(ctx context.Context, args []string) error {
	var o app.EventsOptions
	fs := flags("events", "[settings]", "Follows the events of a running service, one line of JSON each, as a durable\nconsumer that keeps to the sequence of each case.")
	fs.StringVar(&o.NATS, "nats", "nats://127.0.0.1:4222", "`address` of the NATS server")
	fs.StringVar(&o.Durable, "durable", "countback-events", "`name` under which the server keeps the position")
	fs.StringVar(&o.Facility, "facility", "", "`token` of one facility (default: all)")
	fs.IntVar(&o.Most, "most", 0, "leave after this `number` of events (default: never)")
	fs.BoolVar(&o.Replay, "replay", false, "begin again with the first event that the stream holds; the position under -durable is given up")
	if err := parseAll(fs, args); err != nil {
		return err
	}
	return app.Events(ctx, o, os.Stdout, os.Stderr)
}

func runNotifications(ctx context.Context, args []string) error {
	var o app.NotificationsOptions
	fs := flags("notifications", "[settings]", "Takes the notifications that a running service sends to who subscribed, checks\nthat they are signed, and prints each as a line of JSON: an example of a receiver.")
	fs.StringVar(&o.Listen, "listen", "127.0.0.1:9000", "`host:port` to take them at")
	fs.StringVar(&o.Endpoint, "endpoint", "", "`address` as the Subscription names it (default http://LISTEN/)")
	fs.StringVar(&o.Data, "data", "./countback-data", "`folder` of the service, in which the secret lies that it signs with")
	fs.IntVar(&o.Most, "most", 0, "leave after this `number` of lines (default: never)")
	if err := parseAll(fs, args); err != nil {
		return err
	}
	return app.Notifications(ctx, o, os.Stdout, os.Stderr)
}

func runPackage(args []string) error {
	fs := flags("package", "-out FILE", "Packs the FHIR definitions that are served (profiles, extensions, codes, search\nparameters, operations, questionnaires, protocols, the CapabilityStatement), with\nexamples, as a FHIR package in the npm format, for other tools to read.\nThe same program always writes the same bytes.")
	out := fs.String("out", "", "`file` to write, such as countback.r4.tgz")
	version := fs.String("version", app.DefinitionsVersion, "`version` of the package")
	if err := parseAll(fs, args); err != nil {
		return err
	}
	if *out == "" {
		return misused("package", "-out says which file to write")
	}
	return app.Package(*out, *version)
}
