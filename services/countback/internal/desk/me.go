package desk

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"unicode"

	"github.com/gin-gonic/gin"
)

// meCookie keeps the name of the person at the desk; it is no proof of it.
const (
	meCookie = "desk-name"
	meAge    = 12 * 60 * 60 // seconds: a shift
	maxName  = 80
)

// nameOf is the name that the person at the desk gave; empty: none.
func nameOf(r *http.Request) string {
	c, err := r.Cookie(meCookie)
	if err != nil {
		return ""
	}
	name, err := url.QueryUnescape(c.Value)
	if err != nil {
		return ""
	}
	return cleanName(name)
}

// cleanName is a name as it may be written down; empty when it is none.
func cleanName(s string) string {
	s = strings.Join(strings.FieldsFunc(s, func(r rune) bool { return unicode.IsSpace(r) || unicode.IsControl(r) }), " ")
	if len(s) > maxName {
		return ""
	}
	return s
}

type mePage struct {
	page
	Back string
}

func (d *Desk) mePage(c *gin.Context) error {
	return d.render(c, http.StatusOK, "me", mePage{d.newPage(c, "Who are you?", ""), local(c.Query("back"))})
}

// me keeps the name, and goes back to where the person came from.
func (d *Desk) me(c *gin.Context) error {
	name := cleanName(c.PostForm("name"))
	if name == "" {
		return fmt.Errorf("%w: give your name, in no more than %d letters", errForm, maxName)
	}
	http.SetCookie(c.Writer, &http.Cookie{
		Name: meCookie, Value: url.QueryEscape(name), Path: Root, MaxAge: meAge, HttpOnly: true, SameSite: http.SameSiteStrictMode,
	})
	c.Redirect(http.StatusSeeOther, backOf(c))
	return nil
}
