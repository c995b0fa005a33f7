package desk

import (
	"net"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"
)

// Ours reports whether a request's Host names this service: a name that it is
// reached by from outside, or this machine itself. A browser that was led here
// by a foreign name (DNS rebinding) takes the desk's pages for that site's own,
// and would let it read and send them.
func (d *Desk) Ours(host string) bool {
	name := hostName(host)
	if ip := net.ParseIP(name); name == "localhost" || ip != nil && ip.IsLoopback() {
		return true
	}
	return name != "" && slices.ContainsFunc(append([]string{d.Public}, d.Also...), func(address string) bool {
		public, err := url.Parse(address)
		return err == nil && name == hostName(public.Host)
	})
}

// hostName is a Host without its port, as names are compared.
func hostName(host string) string {
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	return strings.TrimSuffix(strings.ToLower(strings.Trim(host, "[]")), ".")
}

// guard refuses what was sent to another name. The calendar is left out: its
// link is the secret, and a calendar program may know it by another name.
func (d *Desk) guard(c *gin.Context) {
	if strings.HasPrefix(c.Request.URL.Path, CalendarRoot+"/") || d.Ours(c.Request.Host) {
		return
	}
	c.Abort()
	c.String(http.StatusMisdirectedRequest, "The desk is not served under this name. Open it under an address of -base-url, or on its own machine.\n")
}
