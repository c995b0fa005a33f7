package fhirapi

import (
	"fmt"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"time"

	"github.com/gin-gonic/gin"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/casework"
)

// Limits that apply when Options name none.
const (
	defaultMaxResource = fhir.MaxResourceBytes
	defaultMaxBundle   = 5 << 20
	defaultMaxEntries  = 500
	maxForm            = 64 << 10 // bytes of the form of a POST search
)

// root is the path below which everything is served.
const root = "/fhir"

// Options are what the edge works with. Office, Base, Zone, Log and Now are
// required.
type Options struct {
	Office *casework.Office
	// Base is the public address of what is served at /fhir, such as
	// https://plans.example/fhir: links, locations and fullUrls begin with it.
	Base string
	Zone *time.Location   // of dates in searches that have none, and of what is written
	Log  *slog.Logger     // gets no patient data
	Now  func() time.Time // the clock

	Version     string // of the software, as the CapabilityStatement says it
	Description string // of this installation, ditto

	MaxResource int  // bytes of one resource; 0 means 1 MiB
	MaxBundle   int  // bytes of a Bundle; 0 means 5 MiB
	MaxEntries  int  // entries of a Bundle; 0 means 500
	MaxCount    int  // resources on a page of a search; 0 means the search's own limit
	Strict      bool // unknown search parameters are refused unless a client prefers handling=lenient
}

// server holds what the handlers share.
type server struct {
	Options
	metadata []byte
}

// releaseMode keeps Gin from printing its routes; the mode is global to it.
var releaseMode = sync.OnceFunc(func() { gin.SetMode(gin.ReleaseMode) })

// New builds the handler of all that lies at and below /fhir.
func New(o Options) (http.Handler, error) {
	if o.Office == nil || o.Base == "" || o.Zone == nil || o.Log == nil || o.Now == nil {
		return nil, fmt.Errorf("FHIR edge: an office, a base, a zone, a log and a clock are required")
	}
	o.Base = strings.TrimSuffix(o.Base, "/")
	o.MaxResource = orDefault(o.MaxResource, defaultMaxResource)
	o.MaxBundle = orDefault(o.MaxBundle, defaultMaxBundle)
	o.MaxEntries = orDefault(o.MaxEntries, defaultMaxEntries)
	if _, err := profiles(); err != nil {
		return nil, fmt.Errorf("FHIR edge: read the profiles: %w", err)
	}
	s := &server{Options: o}
	var err error
	if s.metadata, err = s.statement(); err != nil {
		return nil, fmt.Errorf("FHIR edge: %w", err)
	}
	releaseMode()
	engine := gin.New()
	engine.RedirectTrailingSlash = false
	engine.RedirectFixedPath = false
	engine.HandleMethodNotAllowed = true
	engine.ContextWithFallback = false
	if err := engine.SetTrustedProxies(nil); err != nil {
		return nil, fmt.Errorf("FHIR edge: %w", err)
	}
	engine.Use(s.identify, s.access, s.recover)
	engine.NoRoute(s.noRoute)
	engine.NoMethod(s.noMethod)
	s.routes(engine.Group(root, s.negotiate))
	return engine, nil
}

func orDefault(v, otherwise int) int {
	if v <= 0 {
		return otherwise
	}
	return v
}

// routes registers what the offers allow.
func (s *server) routes(g *gin.RouterGroup) {
	g.POST("", s.bundle)
	g.POST("/", s.bundle)
	reads := func(path string, kind interaction, typ string) {
		g.GET(path, s.serve(kind, typ))
		g.HEAD(path, s.serve(kind, typ))
	}
	reads("/metadata", capabilities, "")
	reads("/_history", historySystem, "")
	s.operates(g)
	s.foresees(g)
	g.POST("/"+definitionType+"/$preview", s.operation(s.preview))
	g.GET("/"+definitionType+"/:id/$adoption", s.operation(s.adoption))
	g.POST("/"+definitionType+"/:id/$adoption", s.operation(s.adoption))
	for _, o := range offers {
		typ, id := "/"+o.typ, "/"+o.typ+"/:id"
		reads(typ, searchType, o.typ)
		reads(id, read, o.typ)
		reads(typ+"/_history", historyType, o.typ)
		reads(id+"/_history", historyInstance, o.typ)
		reads(id+"/_history/:vid", vread, o.typ)
		g.POST(typ+"/_search", s.serve(searchType, o.typ))
		for _, w := range []struct {
			kind         interaction
			method, path string
		}{
			{create, "POST", typ}, {conditionalUpdate, "PUT", typ}, {conditionalPatch, "PATCH", typ}, {conditionalDelete, "DELETE", typ},
			{update, "PUT", id}, {patch, "PATCH", id}, {remove, "DELETE", id},
		} {
			if o.allows(w.kind) {
				g.Handle(w.method, w.path, s.serve(w.kind, o.typ))
			}
		}
	}
}

// negotiate refuses what could not be answered, before anything is done.
func (s *server) negotiate(c *gin.Context) {
	if err := acceptable(c.Request.Header, c.Request.URL.Query()); err != nil {
		s.fail(c, err)
	}
}

// serve carries out one interaction as a request of its own.
func (s *server) serve(kind interaction, typ string) gin.HandlerFunc {
	return func(c *gin.Context) {
		a, err := s.asked(c, kind, typ)
		if err != nil {
			s.fail(c, err)
			return
		}
		r, err := s.carryOut(c.Request.Context(), a)
		if err != nil {
			s.fail(c, err)
			return
		}
		s.answer(c, a, r)
	}
}
