package desk

import (
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/sheet"
)

// CalendarRoot is the path below which patients' and coaches' calendars lie, each
// at an address that nobody guesses. It needs no sign-in: that is its use.
const CalendarRoot = "/calendar"

// linksPage lists the calendar links of a case, and makes and revokes them.
type linksPage struct {
	page
	ID      string
	Links   []linkLine
	Fresh   string // address of the link that was just made; it is shown this once
	For     string // whom that is for
	Holders []string
}

// Subscribe is the fresh link as calendar programs take it, to follow it.
func (p linksPage) Subscribe() template.URL {
	_, rest, _ := strings.Cut(p.Fresh, "://")
	return template.URL("webcal://" + rest) // made here, of the address that is configured
}

type linkLine struct{ ID, For, Made, Revoked string }

func (d *Desk) linksPage(c *gin.Context) error { return d.showLinks(c, "", "") }

func (d *Desk) showLinks(c *gin.Context, fresh, holder string) error {
	links, err := d.Office.CalendarLinks(c.Request.Context(), c.Param("id"))
	if err != nil {
		return err
	}
	p := linksPage{page: d.newPage(c, "Calendar links", "/cases"), ID: c.Param("id"), Fresh: fresh, For: holder, Holders: casework.LinkHolders}
	p.Path = Root + "/case/" + p.ID + "/calendar"
	const words = "Mon 2 Jan 2006, 15:04"
	for _, l := range links {
		line := linkLine{ID: l.ID, For: l.Holder, Made: l.Made.In(d.Calendar.Zone()).Format(words) + " by " + l.MadeBy}
		if !l.Revoked.IsZero() {
			line.Revoked = l.Revoked.In(d.Calendar.Zone()).Format(words) + " by " + l.RevokedBy
		}
		p.Links = append(p.Links, line)
	}
	return d.render(c, http.StatusOK, "calendar", p)
}

// makeLink makes a link and shows its address in the answer itself: it is stored
// nowhere, so there is nothing to come back to.
func (d *Desk) makeLink(c *gin.Context) error {
	by, holder := nameOf(c.Request), c.PostForm("for")
	if by == "" {
		return fmt.Errorf("%w: say first who you are, at the top of the page", errForm)
	}
	if !slices.Contains(casework.LinkHolders, holder) {
		return fmt.Errorf("%w: it does not say for whom the link is", errForm)
	}
	secret, err := d.Office.NewCalendarLink(c.Request.Context(), c.Param("id"), holder, by)
	if err != nil {
		return err
	}
	return d.showLinks(c, d.Public+CalendarRoot+"/"+secret+".ics", holder)
}

func (d *Desk) revokeLink(c *gin.Context) error {
	by := nameOf(c.Request)
	if by == "" {
		return fmt.Errorf("%w: say first who you are, at the top of the page", errForm)
	}
	if err := d.Office.RevokeCalendarLink(c.Request.Context(), c.Param("id"), c.PostForm("link"), by); err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, Root+"/case/"+c.Param("id")+"/calendar")
	return nil
}

// calendarFile gives the calendar of a case to the desk, to send or print.
func (d *Desk) calendarFile(c *gin.Context) error {
	h, err := d.Office.Handout(c.Request.Context(), c.Param("id"))
	if err != nil {
		return err
	}
	body, err := d.sentences.Calendar(h, sheet.Languages[0], d.Calendar.Zone())
	if err != nil {
		return err
	}
	writeCalendar(c, body, "attachment")
	return nil
}

// linked answers a calendar program. Whatever is wrong with the address, the
// answer is the same, so that it tells nobody which addresses there were.
func (d *Desk) linked(c *gin.Context) {
	secret, ics := strings.CutSuffix(c.Param("link"), ".ics")
	if !ics {
		noCalendar(c)
		return
	}
	h, err := d.Office.LinkedHandout(c.Request.Context(), secret)
	if errors.Is(err, casework.ErrNotFound) {
		noCalendar(c)
		return
	}
	var body string
	if err == nil {
		body, err = d.sentences.Calendar(h, sheet.Languages[0], d.Calendar.Zone())
	}
	if err != nil {
		d.Log.Error("desk", "route", c.FullPath(), "error", err)
		c.String(http.StatusInternalServerError, "the calendar cannot be read now\n")
		return
	}
	writeCalendar(c, body, "inline")
}

func noCalendar(c *gin.Context) { c.String(http.StatusNotFound, "there is no such calendar\n") }

// writeCalendar writes a calendar that its reader alone may keep, and must ask
// about before using it again; 304 where it has this one.
func writeCalendar(c *gin.Context, body, disposition string) {
	sum := sha256.Sum256([]byte(body))
	tag := `"` + base64.RawURLEncoding.EncodeToString(sum[:18]) + `"`
	c.Header("Cache-Control", "private, no-cache")
	c.Header("ETag", tag)
	if held := c.GetHeader("If-None-Match"); held == "*" || slices.Contains(tags(held), tag) {
		c.Status(http.StatusNotModified)
		return
	}
	c.Header("Content-Disposition", disposition+`; filename="plan.ics"`)
	c.Data(http.StatusOK, "text/calendar; charset=utf-8", []byte(body))
}

// tags are the entity tags of an If-None-Match, compared weakly.
func tags(header string) []string {
	var out []string
	for t := range strings.SplitSeq(header, ",") {
		out = append(out, strings.TrimPrefix(strings.TrimSpace(t), "W/"))
	}
	return out
}
