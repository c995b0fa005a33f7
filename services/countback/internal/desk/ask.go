package desk

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"github.com/gin-gonic/gin"

	"example.org/countback/services/countback/internal/casework"
)

// didAsk marks, in the address, that another day was asked for.
const didAsk = "asked"

// askPart is a request for another day that waits for the booking.
type askPart struct {
	Day   string // that is asked for
	By    string
	At    string
	Says  string // who asks for what, and why
	Still string // what the booking says meanwhile
	Who   string // who is asked
	Due   string // by when they should answer
	itemLine
}

// newAskPart says the request that waits in a case; nil: none does.
func (d *Desk) newAskPart(v *casework.CaseView, p *page) *askPart {
	i := v.Asked()
	if i == nil {
		return nil
	}
	still := "no day"
	if !v.Surgery.IsZero() {
		still = v.Surgery.Day.Format(dayWords)
	}
	line := d.newItemLine(i, d.Calendar.DateOf(v.Now), p)
	return &askPart{
		Day: i.Raised.Day.Format(dayWords), By: i.Raised.By, At: i.Raised.At.In(d.Calendar.Zone()).Format("Mon 2 Jan 2006, 15:04"),
		Says: i.Raised.Why, Still: still, Who: line.Who, Due: line.Due, itemLine: line,
	}
}

// askedWords say in a list that another day is asked for.
func askedWords(c *casework.CaseLine) string {
	if c.Asked == nil {
		return ""
	}
	still := "the booking still says no day"
	if !c.Surgery.IsZero() {
		still = "the booking still says " + c.Surgery.Day.Format(dayWords)
	}
	return "Asked to move to " + c.Asked.Raised.Day.Format(dayWords) + " by " + c.Asked.Raised.By + "; " + still + "."
}

// askMove asks whoever books for another day, and goes to the case.
func (d *Desk) askMove(c *gin.Context) error {
	form := func(name string) string { return strings.TrimSpace(c.PostForm(name)) }
	a := casework.MoveAsk{CaseID: c.Param("id"), Day: form("to"), Seen: form("seen"), By: nameOf(c.Request), Reason: form("reason"), Source: "desk"}
	if a.By == "" {
		return fmt.Errorf("%w: say first who you are, at the top of the page", errForm)
	}
	if _, err := d.Office.AskMove(c.Request.Context(), a); err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, Root+"/case/"+url.PathEscape(a.CaseID)+"?did="+didAsk+"#asked")
	return nil
}
