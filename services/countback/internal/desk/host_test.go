package desk

import (
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/gin-gonic/gin"
	"github.com/stretchr/testify/require"
)

// A page of another site that leads its own name to this machine gets nothing,
// whatever it asks for.
func TestForeignHost(t *testing.T) {
	releaseMode()
	d := &Desk{Options: Options{Public: "https://Plans.Larkspindle.example:8443", Also: []string{"http://theatre-desk/fhir"}}}
	engine := gin.New()
	engine.Use(d.guard)
	served := func(c *gin.Context) { c.Status(http.StatusNoContent) }
	engine.GET(Root, served)
	engine.POST(Root+"/task/:id", served)
	engine.GET(CalendarRoot+"/:link", served)
	for _, c := range []struct {
		method, path, host string
		want               int
	}{
		{"POST", Root + "/task/1", "127.0.0.1:8080", 204}, {"POST", Root + "/task/1", "[::1]:8080", 204}, {"GET", Root, "localhost", 204},
		{"GET", Root, "LOCALHOST.:8080", 204}, {"POST", Root + "/task/1", "plans.larkspindle.example", 204},
		{"POST", Root + "/task/1", "plans.larkspindle.example:8443", 204},
		{"POST", Root + "/task/1", "theatre-desk:8080", 204}, {"GET", Root, "theatre-desk.elsewhere.example", 421},
		{"POST", Root + "/task/1", "elsewhere.example", 421}, {"GET", Root, "elsewhere.example:8080", 421}, {"GET", Root, "", 421},
		{"GET", Root, "localhost.elsewhere.example", 421}, {"GET", Root, "127.0.0.1.elsewhere.example", 421}, {"GET", Root, "10.0.0.7", 421},
		{"GET", CalendarRoot + "/secret", "elsewhere.example", 204},
	} {
		r := httptest.NewRequest(c.method, c.path, nil)
		r.Host = c.host
		w := httptest.NewRecorder()
		engine.ServeHTTP(w, r)
		require.Equal(t, c.want, w.Code, "%s %s %q", c.method, c.path, c.host)
	}
}
