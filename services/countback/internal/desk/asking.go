package desk

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"example.org/countback/services/countback/internal/casework"
)

// askingPage is a questionnaire that is asked aloud, to be filled in.
type askingPage struct {
	page
	On        *casework.AnswerForm
	Questions []*question // of the top, with what stands below them
	Form      string      // what tells this filling in from others
	Back      string
	Advice    string  // what must be told at once, by what is answered so far
	Wrong     []wrong // what must be seen to before it can be recorded
	Overtaken string  // the item was settled in the meantime: how
	Again     bool    // it was sent, and nothing was recorded
}

// wrong is what must be seen to at one question.
type wrong struct{ At, Says string }

// question is one item of a questionnaire with what was written down for it.
type question struct {
	Name, Kind, Text, Only string
	Required, Repeats      bool
	Value, Unit, Wrong     string
	Choices, Units         []choice
	Below                  []*question
}

type choice struct {
	Value, Words string
	On           bool
}

// saidChoices are the answers to a question of yes and no, as translate knows them.
var saidChoices = []choice{{Value: "yes", Words: "Yes"}, {Value: "no", Words: "No"}, {Value: "unknown", Words: "Not known"}}

// What the names of fields begin with: of an answer, of its unit, and of an answer
// in words beside those that may be chosen.
const (
	fieldAnswer = "q."
	fieldUnit   = "u."
	fieldOther  = "o."
)

func (d *Desk) askingPage(c *gin.Context) error {
	form, err := d.Office.AnswerForm(c.Request.Context(), c.Param("id"))
	if err != nil {
		return err
	}
	p := d.newAskingPage(c, form)
	p.Form = strconv.FormatInt(d.Now().UnixMicro(), 10)
	p.Overtaken = form.Settled
	return d.render(c, http.StatusOK, "asking", p)
}

func (d *Desk) newAskingPage(c *gin.Context, form *casework.AnswerForm) *askingPage {
	p := &askingPage{page: d.newPage(c, form.Item, ""), On: form, Back: local(c.Query("back"))}
	if c.Request.Method == http.MethodPost {
		p.Back = backOf(c)
		p.Path = p.Back
	}
	if p.Back == Root && c.Query("back") == "" {
		p.Back = Root + "/case/" + url.PathEscape(form.CaseID)
	}
	p.Slip = strings.Join(append([]string{form.Person.Name}, form.Person.Identifiers...), ", ") + " · " + p.Title
	above := []*question{}
	for n := range form.Questions {
		f := &form.Questions[n]
		q := &question{
			Name: f.LinkID, Kind: f.Kind, Text: f.Text, Only: f.Only, Required: f.Required, Repeats: f.Repeats,
			Unit: c.PostForm(fieldUnit + f.LinkID),
		}
		typed := c.PostFormArray(fieldAnswer + f.LinkID)
		q.Value = strings.Join(typed, " ")
		if f.Kind == "open-choice" {
			q.Value = c.PostForm(fieldOther + f.LinkID)
		}
		if f.Kind == "boolean" {
			q.Choices = slices.Clone(saidChoices)
		}
		for _, o := range f.Options {
			q.Choices = append(q.Choices, choice{Value: o.Value, Words: o.Words})
		}
		for _, o := range f.Units {
			q.Units = append(q.Units, choice{o.Value, o.Words, o.Value == q.Unit})
		}
		for n := range q.Choices {
			q.Choices[n].On = slices.Contains(typed, q.Choices[n].Value)
		}
		above = append(above[:f.Depth], q)
		if f.Depth == 0 {
			p.Questions = append(p.Questions, q)
		} else {
			above[f.Depth-1].Below = append(above[f.Depth-1].Below, q)
		}
	}
	return p
}

// recordAnswers takes in what was written down, and shows what followed.
func (d *Desk) recordAnswers(c *gin.Context) error {
	form, err := d.Office.AnswerForm(c.Request.Context(), c.Param("id"))
	if err != nil {
		return err
	}
	a := casework.WrittenDown{TaskID: form.TaskID, By: nameOf(c.Request), Form: c.PostForm("form"), Source: "desk"}
	if a.Version, err = strconv.ParseInt(c.PostForm("version"), 10, 64); err != nil {
		return fmt.Errorf("%w: it does not say which form was filled in", errForm)
	}
	if _, err := strconv.ParseInt(a.Form, 10, 64); err != nil {
		return fmt.Errorf("%w: it does not say which form was filled in", errForm)
	}
	for n := range form.Questions {
		id := form.Questions[n].LinkID
		values := c.PostFormArray(fieldAnswer + id)
		if other := strings.TrimSpace(c.PostForm(fieldOther + id)); other != "" {
			values = append(values, other)
		}
		a.Give(id, values, c.PostForm(fieldUnit+id))
	}
	id, err := d.Office.RecordAnswers(c.Request.Context(), a)
	if err != nil {
		return d.askAgain(c, form, err)
	}
	to := url.URL{Path: Root + "/answers/" + id, RawQuery: url.Values{"did": {didAnswers}, "item": {form.TaskID}}.Encode()}
	c.Redirect(http.StatusSeeOther, to.String())
	return nil
}

// askAgain shows the form with what was written down, and what is amiss. Nothing
// is stored yet.
func (d *Desk) askAgain(c *gin.Context, form *casework.AnswerForm, why error) error {
	p := d.newAskingPage(c, form)
	p.Form, p.Again = c.PostForm("form"), true
	var unfinished *casework.Unfinished
	var overtaken *casework.Overtaken
	status := http.StatusUnprocessableEntity
	switch {
	case errors.Is(why, casework.ErrNameless):
		p.Wrong = []wrong{{Says: "Nobody is named: say who you are in another window of this desk, and press again here."}}
	case errors.As(why, &unfinished):
		p.Advice = unfinished.Advice
		for _, slip := range unfinished.Slips {
			p.wrong(p.Questions, slip.LinkID, slip.Says)
		}
	case errors.As(why, &overtaken):
		p.Overtaken, status = overtaken.Says, http.StatusConflict
	default:
		return why
	}
	return d.render(c, status, "asking", p)
}

// wrong notes what is amiss at a question.
func (p *askingPage) wrong(among []*question, name, says string) {
	for _, q := range among {
		if q.Name == name {
			q.Wrong = sentence("this " + says)
			p.Wrong = append(p.Wrong, wrong{name, "“" + q.Text + "” " + says + "."})
		}
		p.wrong(q.Below, name, says)
	}
}
