package app

import (
	"errors"
	"flag"
	"fmt"
	"net"
	"net/url"
	"os"
	"strings"
	"time"

	"example.org/countback/pkg/calendar"
	"example.org/countback/services/countback/internal/event"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// Config is every setting, each with its one default in Flags.
type Config struct {
	Addr             string // where the FHIR API listens
	Admin            string // where health and metrics listen
	Data             string // folder of the database and the event stream
	BaseURL          string // public addresses of /fhir, the first is written; empty: http://ADDR/fhir
	Facility         string // token of the facility in event subjects
	Zone             string // IANA name of the facility's time zone
	Holidays         string // us-federal, england, none, or a file of dates
	Closures         string // file of days closed on top of these; empty: none
	OperatingDays    string // Mon-Fri, or a list
	AnaesthesiaAfter time.Duration
	Today            string        // standing clock: a date or an RFC 3339 instant
	ClockCorrected   bool          // the clock was ahead before and is right now
	NATS             string        // external server; empty: the embedded one
	NATSListen       string        // port of the embedded server; empty: none
	Feeds            string        // sources that are to be heard from: NAME=SOURCE,…
	FeedSilent       time.Duration // after which a feed counts as silent; 0: never
	Subscriptions    string        // file on how those who subscribed are treated; empty: the defaults
	HL7Listen        string        // where HL7 version 2 is taken over MLLP; empty: nowhere
	HL7System        string        // systems of its assigning authorities, see hl7Options
	Hospital         string        // its name, as patients know it; empty: not told
	Phone            string        // for patients to call, and after a comma when closed; empty: none is printed
	Protocol         string        // file with a PlanDefinition; empty: the embedded one
}

// FacilityFlags adds the settings that say which hospital this is.
func (c *Config) FacilityFlags(fs *flag.FlagSet) {
	fs.StringVar(&c.Zone, "zone", "America/Chicago", "the facility's time zone, an IANA `name`")
	fs.StringVar(&c.Holidays, "holidays", "us-federal", "us-federal, england, none, or a `file` of closed days in their place, as for -closures")
	fs.StringVar(&c.Closures, "closures", "", "`file` of the facility's own closed days, on top of -holidays: a date (2026-12-24) or a range (2026-12-24..2026-12-31) a line, and a name if you like")
	fs.StringVar(&c.OperatingDays, "operating-days", "Mon-Fri", "`days` on which elective surgery is done")
	fs.DurationVar(&c.AnaesthesiaAfter, "anaesthesia-after", 0, "`time` from a booking's start to the start of anaesthesia, such as 30m, where the booking does not say it")
	fs.StringVar(&c.Hospital, "hospital", "", "`name` of the hospital on what patients get")
	fs.StringVar(&c.Phone, "phone", "", "`number` on the patient's sheet to call, and after a comma one for when it is closed (default: a line to write it on)")
	fs.StringVar(&c.Protocol, "protocol", "", "`file` with the PlanDefinition to plan by (default: the example protocol inside)")
	fs.StringVar(&c.Today, "today", "", "stand the clock still at a `date` (12:00) or RFC 3339 instant; for trying things out only")
}

// ServerFlags adds the settings of a running server.
func (c *Config) ServerFlags(fs *flag.FlagSet) {
	fs.StringVar(&c.Addr, "addr", "127.0.0.1:8080", "`host:port` of the FHIR API")
	fs.StringVar(&c.Admin, "admin", "127.0.0.1:8081", "`host:port` of health and metrics")
	fs.StringVar(&c.BaseURL, "base-url", "", "public `address` of the FHIR API, or several with commas between (default http://ADDR/fhir): the first is what is written in answers and calendar links; browsers are answered under the names of all of them and on this machine only, and get 421 under any other")
	fs.StringVar(&c.Facility, "facility", "main", "`token` of the facility in event subjects: a-z, 0-9, - and _")
	fs.BoolVar(&c.ClockCorrected, "clock-corrected", false, "the clock was ahead before and is right now: start although it was set back by more than two days, and plan again what was planned meanwhile; for one start only")
	fs.StringVar(&c.NATS, "nats", "", "`address` of a NATS server with JetStream (default: one inside this process)")
	fs.StringVar(&c.Feeds, "feeds", "", "`sources` that are to be heard from, NAME=SOURCE,NAME=SOURCE with the source as in meta.source, to be watched by name")
	fs.DurationVar(&c.FeedSilent, "feed-silent", 24*time.Hour, "`time` after which one of -feeds counts as silent; 0 for never")
	fs.StringVar(&c.Subscriptions, "subscriptions", "", "`file` with the secret that notifications are signed with, and what receivers may be (default: a secret is made in the data folder)")
	fs.StringVar(&c.HL7Listen, "hl7-listen", "", "`host:port` on which HL7 version 2 scheduling messages (SIU) are taken over MLLP (default: no port)")
	fs.StringVar(&c.HL7System, "hl7-system", "", "what names in HL7 version 2 messages mean, AUTHORITY=URI,AUTHORITY=URI, or a `file` of these, one a line: the identifier.system of an assigning authority, or the system of a coding system; @SENDER=ZONE gives the time zone of a sender (its source, as in -feeds) for times without one")
	fs.StringVar(&c.NATSListen, "nats-listen", "", "`host:port` on which the NATS server inside listens (default: no port)")
}

// ErrExposed says that the service would be reachable without authentication.
var ErrExposed = errors.New("there is no authentication yet: listen on loopback only")

// loopback refuses an address that others could reach.
func loopback(addr string) error {
	host, _, err := net.SplitHostPort(addr)
	if err != nil {
		return err
	}
	if ip := net.ParseIP(host); host == "localhost" || ip != nil && ip.IsLoopback() {
		return nil
	}
	return fmt.Errorf("%s: %w", addr, ErrExposed)
}

// check refuses settings that could not work, before anything is started.
func (c *Config) check() error {
	if err := loopback(c.Addr); err != nil { // health and metrics hold no patient data
		return fmt.Errorf("-addr: %w", err)
	}
	if c.HL7Listen != "" {
		if err := loopback(c.HL7Listen); err != nil {
			return fmt.Errorf("-hl7-listen: %w", err)
		}
	}
	if err := event.CheckFacility(c.Facility); err != nil {
		return fmt.Errorf("-facility: %w", err)
	}
	for _, base := range c.bases() {
		u, err := url.Parse(base)
		if err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
			return fmt.Errorf("-base-url: %q is no http address such as https://plans.example/fhir", base)
		}
	}
	return nil
}

// explainClock says what to do about a clock that was set back.
func explainClock(err error) error {
	if !errors.Is(err, store.ErrClockBack) {
		return err
	}
	return fmt.Errorf("%w; put the clock right, or, if it is right now and was ahead before, start once with -clock-corrected", err)
}

// FacilityOf builds the hospital's calendar. base is the public FHIR base.
func (c *Config) FacilityOf(base string) (translate.Facility, error) {
	var f translate.Facility
	zone, err := time.LoadLocation(c.Zone)
	if err != nil || c.Zone == "" {
		return f, fmt.Errorf("-zone: %q is not a time zone", c.Zone)
	}
	holidays, err := holidaySet(c.Holidays)
	if err != nil {
		return f, fmt.Errorf("-holidays: %w", err)
	}
	if c.Closures != "" {
		closures, err := closedDays(c.Closures)
		if err != nil {
			return f, fmt.Errorf("-closures: %w", err)
		}
		holidays = holidays.With(closures)
	}
	days, err := calendar.ParseOperatingDays(c.OperatingDays)
	if err != nil {
		return f, fmt.Errorf("-operating-days: %w", err)
	}
	cal, err := calendar.New(calendar.Options{Zone: zone, Holidays: holidays, OperatingDays: days})
	if err != nil {
		return f, err
	}
	return translate.Facility{Calendar: cal, StartOffset: c.AnaesthesiaAfter, Base: base}, nil
}

// holidaySet takes the name of a set, else the name of a file.
func holidaySet(s string) (calendar.HolidaySet, error) {
	set, err := calendar.Holidays(s)
	if err == nil {
		return set, nil
	}
	file, openErr := os.Open(s)
	if openErr != nil {
		return set, fmt.Errorf("%q is neither the name of a holiday set nor a file", s)
	}
	defer file.Close()
	return calendar.ParseHolidays(file)
}

func closedDays(name string) (calendar.HolidaySet, error) {
	file, err := os.Open(name)
	if err != nil {
		return calendar.HolidaySet{}, err
	}
	defer file.Close()
	return calendar.ParseClosures(file)
}

// standing reads -today: a date means 12:00 in the facility's zone.
func (c *Config) standing(cal *calendar.Calendar) (time.Time, error) {
	if d, err := calendar.ParseDate(c.Today); err == nil {
		return cal.At(d, 12, 0), nil
	}
	t, err := time.Parse(time.RFC3339, c.Today)
	if err != nil {
		return t, fmt.Errorf("-today: %q is neither a date (2026-11-27) nor an instant (2026-11-27T07:00:00-06:00)", c.Today)
	}
	return t.In(cal.Zone()), nil
}

func (c *Config) base(addr string) string {
	if all := c.bases(); len(all) > 0 {
		return all[0]
	}
	return "http://" + addr + "/fhir"
}

// bases are the public addresses of the FHIR API as they were given.
func (c *Config) bases() []string {
	if c.BaseURL == "" {
		return nil
	}
	var out []string
	for base := range strings.SplitSeq(c.BaseURL, ",") {
		out = append(out, strings.TrimSuffix(strings.TrimSpace(base), "/"))
	}
	return out
}
