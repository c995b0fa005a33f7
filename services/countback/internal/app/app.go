package app

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"net"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/desk"
	"example.org/countback/services/countback/internal/fhirapi"
	"example.org/countback/services/countback/internal/mllp"
	"example.org/countback/services/countback/internal/notify"
	"example.org/countback/services/countback/internal/outbox"
	"example.org/countback/services/countback/internal/sheet"
	"example.org/countback/services/countback/internal/store"
)

// Timeouts of the HTTP servers: long enough for a large bundle on a slow line,
// short enough that an idle client holds nothing for ever.
const (
	readHeaderTimeout = 5 * time.Second
	readTimeout       = 30 * time.Second
	writeTimeout      = 60 * time.Second
	idleTimeout       = 2 * time.Minute
	maxHeaderBytes    = 32 << 10

	tickEvery = 5 * time.Second // how often cases are looked for that change with time
	tickLimit = 200             // cases planned again in one go

	alarmEvery = time.Minute // how often it is looked for feeds that fell silent
	auditEvery = time.Hour   // how often the stream is compared with the outbox
)

// App is the running service.
type App struct {
	Office *casework.Office
	Clock  *Clock

	cfg       Config
	log       *slog.Logger
	db        *store.DB
	relay     *outbox.Relay
	notifier  *notify.Worker
	feedNames map[string]string // by source
	js        jetstream.JetStream
	nats      *outbox.Server // nil with an external server
	api       net.Listener
	admin     net.Listener
	failed    chan error

	v2Listener net.Listener // nil where HL7 version 2 is not taken
	v2         *mllp.Server

	teardown []step
	stop     sync.Once
	stopErr  error
}

type step struct {
	name string
	do   func() error
}

// Start builds the service and serves until Close. Whatever was built is taken
// down again when a later part fails.
func Start(ctx context.Context, cfg Config, log *slog.Logger) (_ *App, err error) {
	a := &App{cfg: cfg, log: log, Clock: &Clock{}, failed: make(chan error, 4)}
	defer func() {
		if err != nil {
			err = errors.Join(err, a.Close())
		}
	}()
	if err := cfg.check(); err != nil {
		return nil, err
	}
	if a.api, err = a.listen("api listener", cfg.Addr); err != nil {
		return nil, err
	}
	if a.admin, err = a.listen("admin listener", cfg.Admin); err != nil {
		return nil, err
	}
	if cfg.HL7Listen != "" {
		if a.v2Listener, err = a.listen("hl7 listener", cfg.HL7Listen); err != nil {
			return nil, err
		}
	}
	if a.feedNames, err = cfg.feedNames(); err != nil {
		return nil, err
	}
	facility, err := cfg.FacilityOf(cfg.base(a.api.Addr().String()))
	if err != nil {
		return nil, err
	}
	if cfg.Today != "" {
		at, err := cfg.standing(facility.Calendar)
		if err != nil {
			return nil, err
		}
		a.Clock.Stand(at)
	}
	release, err := lockFolder(cfg.Data)
	if err != nil {
		return nil, err
	}
	a.onClose("lock", release)
	a.db, err = store.Open(ctx, store.Options{
		Path: cfg.Data, Now: a.Clock.Now, Fatal: a.fatal, ClockCorrected: cfg.ClockCorrected,
	})
	if err != nil {
		return nil, fmt.Errorf("open the database: %w", explainClock(err))
	}
	a.onClose("database", a.db.Close)
	definition, err := cfg.definition()
	if err != nil {
		return nil, err
	}
	receivers, err := cfg.receivers()
	if err != nil {
		return nil, err
	}
	a.Office, err = casework.Open(ctx, casework.Options{
		DB: a.db, Facility: facility, Token: cfg.Facility, PlanDefinition: definition,
		Silent: cfg.FeedSilent, Awaited: slices.Collect(maps.Keys(a.feedNames)), Receivers: receivers.Receivers,
	})
	if err != nil {
		return nil, err
	}
	if overruled := a.Office.Overruled(); overruled != "" {
		log.Warn("-protocol has no effect: a protocol was adopted over FHIR and stays in force",
			"in_force", a.Office.Protocol().Canonical(), "not_used", overruled)
	}
	conn, err := a.broker()
	if err != nil {
		return nil, err
	}
	if a.js, err = jetstream.New(conn); err != nil {
		return nil, err
	}
	a.relay, err = outbox.NewRelay(outbox.RelayOptions{Rows: a.db, JS: a.js, Now: a.Clock.Now, Log: log})
	if err != nil {
		return nil, err
	}
	a.loop("relay", a.relay.Run)
	a.loop("audit", a.audits)
	a.loop("timers", a.ticks)
	a.loop("protocol", a.catchUps)
	a.loop("feeds", a.alarms)
	if err := a.notifies(receivers); err != nil {
		return nil, err
	}
	a.serve("admin", a.admin, a.adminHandler())
	api, err := fhirapi.New(fhirapi.Options{
		Office: a.Office, Base: facility.Base, Zone: facility.Calendar.Zone(), Log: log, Now: a.Clock.Now,
	})
	if err != nil {
		return nil, err
	}
	pages, err := desk.New(desk.Options{
		Office: a.Office, Facility: cmp.Or(cfg.Hospital, cfg.Facility), Calendar: facility.Calendar, Log: log, Now: a.Clock.Now, Changed: a.db.Watch,
		Sheet: cfg.sheetOptions(sheet.Options{}, 0), Public: strings.TrimSuffix(facility.Base, "/fhir"), Also: cfg.bases(),
	})
	if err != nil {
		return nil, err
	}
	a.serve("api", a.api, doors(ownName(api, pages.Ours), pages))
	if err := a.hl7(facility.Calendar.Zone()); err != nil {
		return nil, err
	}
	a.onClose("desk", func() error { pages.Close(); return nil }) // before the server waits for its streams
	return a, nil
}

// doors leads requests to the FHIR API or to the desk.
func doors(api, pages http.Handler) http.Handler {
	mux := http.NewServeMux()
	mux.Handle("/", api)
	mux.Handle(desk.Root, pages)
	mux.Handle(desk.Root+"/", pages)
	mux.Handle(desk.CalendarRoot+"/", pages)
	mux.Handle("GET "+desk.Root+"/{$}", http.RedirectHandler(desk.Root, http.StatusFound))
	mux.Handle("GET /{$}", http.RedirectHandler(desk.Root, http.StatusFound))
	return mux
}

// ownName refuses what a browser sends to the API under a name that is not ours: a
// page of another site that leads its own name here would be let read the
// answers. Other programs may know the service by any name.
func ownName(api http.Handler, ours func(host string) bool) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Header.Get("Sec-Fetch-Site") != "" && !ours(r.Host) {
			http.Error(w, "browsers are not answered under this name: see -base-url", http.StatusMisdirectedRequest)
			return
		}
		api.ServeHTTP(w, r)
	})
}

func (a *App) onClose(name string, do func() error) {
	a.teardown = append(a.teardown, step{name, do})
}

// Close takes everything down, last built first.
func (a *App) Close() error {
	a.stop.Do(func() {
		for n := len(a.teardown) - 1; n >= 0; n-- {
			s := a.teardown[n]
			if err := s.do(); err != nil {
				a.stopErr = errors.Join(a.stopErr, fmt.Errorf("close %s: %w", s.name, err))
			}
		}
	})
	return a.stopErr
}

// Wait returns when ctx ends, or with the error of a part that failed.
func (a *App) Wait(ctx context.Context) error {
	select {
	case <-ctx.Done():
		return nil
	case err := <-a.failed:
		return err
	}
}

// DeskURL is the address of the desk.
func (a *App) DeskURL() string { return "http://" + a.api.Addr().String() + desk.Root }

// URL is the address of the FHIR API.
func (a *App) URL() string { return a.cfg.base(a.api.Addr().String()) }

// Addr is where the FHIR API listens, host and port: behind a proxy another than
// that of URL.
func (a *App) Addr() string { return a.api.Addr().String() }

// AdminURL is the address of health and metrics.
func (a *App) AdminURL() string { return "http://" + a.admin.Addr().String() }

// NATSURL is the address that consumers connect to; empty when there is none.
func (a *App) NATSURL() string {
	switch {
	case a.cfg.NATS != "":
		return a.cfg.NATS
	case a.cfg.NATSListen != "":
		return a.nats.ClientURL()
	}
	return ""
}

func (a *App) stream(ctx context.Context) (jetstream.Stream, error) {
	return a.js.Stream(ctx, outbox.StreamName)
}

// Published waits until every event that is committed now is in the stream.
func (a *App) Published(ctx context.Context) error { return a.relay.Drained(ctx) }

// fatal ends the process: after a failed commit nobody knows what is on disk.
func (a *App) fatal(err error) {
	a.log.Error("the disk failed; the process must end", "error", err)
	select {
	case a.failed <- err:
	default:
	}
}

func (a *App) listen(name, addr string) (net.Listener, error) {
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return nil, err
	}
	a.onClose(name, func() error {
		if err := l.Close(); err != nil && !errors.Is(err, net.ErrClosed) {
			return err
		}
		return nil
	})
	return l, nil
}

// broker connects to the NATS server, starting the one inside if none is named.
func (a *App) broker() (*nats.Conn, error) {
	var conn *nats.Conn
	var err error
	if a.cfg.NATS != "" {
		conn, err = outbox.Connect(a.cfg.NATS)
	} else {
		a.nats, err = outbox.StartServer(outbox.ServerOptions{
			StoreDir: filepath.Join(a.cfg.Data, "nats"), Listen: a.cfg.NATSListen, Log: a.log,
		})
		if err != nil {
			return nil, err
		}
		a.onClose("nats server", func() error { a.nats.Shutdown(); return nil })
		conn, err = a.nats.Connect()
	}
	if err != nil {
		return nil, err
	}
	a.onClose("nats connection", func() error { conn.Close(); return nil })
	return conn, nil
}

// loop runs a part until Close.
func (a *App) loop(name string, run func(context.Context) error) {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := run(ctx); err != nil && ctx.Err() == nil {
			a.failed <- fmt.Errorf("%s: %w", name, err)
		}
	}()
	a.onClose(name, func() error { cancel(); <-done; return nil })
}

// serve answers HTTP until Close, which lets requests in hand finish.
func (a *App) serve(name string, l net.Listener, h http.Handler) {
	s := &http.Server{
		Handler: h, ReadHeaderTimeout: readHeaderTimeout, ReadTimeout: readTimeout,
		WriteTimeout: writeTimeout, IdleTimeout: idleTimeout, MaxHeaderBytes: maxHeaderBytes,
		ErrorLog: slog.NewLogLogger(a.log.Handler(), slog.LevelWarn),
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := s.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			a.failed <- fmt.Errorf("%s: %w", name, err)
		}
	}()
	a.onClose(name+" server", func() error {
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
		defer cancel()
		err := s.Shutdown(ctx)
		<-done
		return err
	})
}

// ticks plans again what changes with time alone.
func (a *App) ticks(ctx context.Context) error {
	t := time.NewTicker(tickEvery)
	defer t.Stop()
	for {
		if err := a.Tick(ctx); err != nil && ctx.Err() == nil {
			a.log.Error("timers", "error", err)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
		}
	}
}

// audits compares what was published with what the stream holds, and publishes
// again what is missing: an acknowledgement does not mean that it is on disk.
// What is past every audit is deleted.
func (a *App) audits(ctx context.Context) error {
	t := time.NewTicker(auditEvery)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
		}
		a.audit(ctx)
	}
}

func (a *App) audit(ctx context.Context) {
	report, err := a.relay.Audit(ctx)
	switch {
	case ctx.Err() != nil:
		return
	case err != nil:
		a.log.Error("audit of the stream", "error", err)
		return
	case report.Missing > 0:
		a.log.Warn("the stream had lost events; they were published again", "missing", report.Missing, "checked", report.Checked)
	}
	if err := a.Office.PruneDelivered(ctx); err != nil && ctx.Err() == nil {
		a.log.Error("pruning of what was delivered", "error", err)
	}
	// Only after an audit that went well: its rows are the truth until then.
	if _, err := a.relay.Prune(ctx); err != nil && ctx.Err() == nil {
		a.log.Error("pruning of the outbox", "error", err)
	}
}

// Tick plans again every case that changes with time alone by now. Cases that
// fail are in the error; they keep no other waiting.
func (a *App) Tick(ctx context.Context) error {
	var failed error
	for {
		n, err := a.Office.Tick(ctx, a.Clock.Now(), tickLimit)
		failed = errors.Join(failed, err)
		if n < tickLimit {
			return failed
		}
	}
}

// Logger writes structured lines to w.
func Logger(w io.Writer) *slog.Logger { return slog.New(slog.NewJSONHandler(w, nil)) }
