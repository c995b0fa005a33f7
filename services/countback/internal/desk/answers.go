package desk

import (
	"net/http"
	"net/url"
	"strings"

	"github.com/gin-gonic/gin"

	"example.org/countback/services/countback/internal/casework"
)

// answersPage is what a person answered, to be read.
type answersPage struct {
	page
	casework.Answered
	When string
	Just bool   // they were recorded at the desk this moment
	Item string // that they were asked for, where they were, and what it is now
	Case string // address of its case
}

func (d *Desk) answersPage(c *gin.Context) error {
	found, err := d.Office.Answered(c.Request.Context(), c.Param("id"))
	if err != nil {
		return err
	}
	p := answersPage{page: d.newPage(c, "What was answered", ""), Answered: *found, When: d.instant(found.Authored), Just: c.Query("did") == didAnswers}
	if caseID, _, ok := strings.Cut(c.Query("item"), "."); ok {
		p.Case = Root + "/case/" + url.PathEscape(caseID)
		form, err := d.Office.AnswerForm(c.Request.Context(), c.Query("item"))
		if err == nil && form.Settled == "" {
			p.Item = "“" + form.Item + "” is still open."
			if !form.Closes {
				p.Item += " These answers do not close it: record it as done when it is."
			}
		}
	}
	p.Slip = strings.Join(append([]string{found.Person.Name}, found.Person.Identifiers...), ", ") + " · " + p.Title
	return d.render(c, http.StatusOK, "answers", p)
}
