package desk

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"example.org/countback/services/countback/internal/casework"
)

// deedWords are what a page says after an action.
var deedWords = map[string]string{
	casework.ActDone:      "Recorded as done.",
	casework.ActWaive:     "Recorded as left out.",
	casework.ActApplies:   "Recorded: it applies.",
	casework.ActNotNeeded: "Recorded: it does not apply.",
	casework.ActFailed:    "Recorded: it could not be done.",
	casework.ActReopen:    "It is asked for again.",
	casework.ActNote:      "The note was added.",
	casework.ActAssign:    "Recorded who takes it on.",
	casework.ActTried:     "Noted that it was tried. The item stays as it is.",
	casework.ActSign:      "Recorded what the prescriber signed.",
	casework.ActHappened:  "Recorded what happened.",
	casework.ActAgree:     "Recorded that a second person agrees with what was signed.",
	casework.ActDisagree:  "Recorded that a second person does not agree: the signature is asked for again.",
	didRelease:            "The hold is released.",
	didDecline:            "Recorded: that day was declined.",
	didTakeBack:           "The request was taken back.",
	didAnswer:             "Recorded which one is meant.",
	didAnswers:            "The answers are recorded.",
	didAsk:                "The other day is asked for. The plan stays as it is until the booking moves.",
}

// What the address says was done, where the act alone does not say it.
const (
	didRelease  = "released"   // a hold
	didDecline  = "declined"   // the day that was asked for
	didTakeBack = "taken-back" // a request for another day
	didAnswer   = "answered"   // which record is meant
	didAnswers  = "answers"    // to the questions of an item
)

// did says on a page what was just done, to which item and for whom.
func (d *Desk) did(c *gin.Context) string {
	words := deedWords[c.Query("did")]
	if words == "" || c.Query("item") == "" {
		return words
	}
	title, person, err := d.Office.Named(c.Request.Context(), c.Query("item"))
	if err != nil || title == "" { // it was done all the same
		return words
	}
	return person + ", “" + title + "”: " + words
}

// needsReason are the actions that nobody may take without saying why.
var needsReason = map[string]string{
	casework.ActWaive:     "say why it is left out",
	casework.ActNotNeeded: "say how you know that it does not apply",
	casework.ActFailed:    "say why it could not be done",
	casework.ActReopen:    "say why it is asked for again",
	casework.ActDisagree:  "say why it is not agreed",
}

// act records what a person did with an item, and goes back to the page.
func (d *Desk) act(c *gin.Context) error {
	form := func(name string) string { return strings.TrimSpace(c.PostForm(name)) }
	version, err := strconv.ParseInt(form("version"), 10, 64)
	if err != nil {
		return fmt.Errorf("%w: it does not say which version of the item was seen", errForm)
	}
	a := casework.Act{
		TaskID: c.Param("id"), Version: version, Does: form("does"), By: nameOf(c.Request), On: form("on"),
		Reason: form("reason"), Owner: form("owner"), Text: form("text"), Source: "desk",
		Means: form("means"), Signs: form("signs"), Dose: form("dose"), DoseAt: form("dose-at"), DoseWords: form("dose-words"), Meant: form("meant") == "yes",
		Came: form("came"), CameAt: form("came-at"), Home: form("home"), HomeAt: form("home-at"), NotDone: form("not-done") == "yes",
	}
	if !casework.Does(a.Does) {
		return fmt.Errorf("%w: it does not say what was done", errForm)
	}
	if a.By == "" {
		return fmt.Errorf("%w: say first who you are, at the top of the page", errForm)
	}
	if say := needsReason[a.Does]; say != "" && a.Reason == "" {
		return fmt.Errorf("%w: %s", errForm, say)
	}
	if form("clears") != "" && (a.Owner == "" || a.Reason == "") {
		return fmt.Errorf("%w: a hold is released by a named person who says why", errForm)
	}
	if err := answerable(&a, form("asks") != ""); err != nil {
		return err
	}
	if a.Does == casework.ActNote && a.Text == "" || a.Does == casework.ActAssign && a.Owner == "" {
		return fmt.Errorf("%w: nothing was written", errForm)
	}
	if err := signable(&a); err != nil {
		return err
	}
	_, err = d.Office.Act(c.Request.Context(), a)
	if late := (*casework.LateDose)(nil); errors.As(err, &late) {
		return d.askMeant(c, late.Words)
	}
	if err != nil {
		return err
	}
	to, err := url.Parse(backOf(c))
	if err != nil {
		return err
	}
	q := to.Query()
	q.Set("did", a.Does)
	switch did := form("did"); {
	case form("clears") != "":
		q.Set("did", didRelease)
	case a.Means != "":
		q.Set("did", didAnswer)
	case did == didDecline, did == didTakeBack:
		q.Set("did", did)
	}
	q.Set("item", a.TaskID)
	to.RawQuery = q.Encode()
	c.Redirect(http.StatusSeeOther, to.String())
	return nil
}

// answerable says what an answer lacks, before it is tried.
func answerable(a *casework.Act, asks bool) error {
	switch {
	case a.Does != casework.ActDone:
		return nil
	case asks && a.Means == "":
		return fmt.Errorf("%w: say which one is meant, or that it is none of them", errForm)
	case a.Means == casework.MeansNone && a.Reason == "":
		return fmt.Errorf("%w: say how you know that it is none of them", errForm)
	}
	return nil
}

// signable says what a signature, or a report of what happened, lacks before it is tried.
func signable(a *casework.Act) error {
	switch {
	case a.Does == casework.ActHappened && a.Came+a.Home == "" && !a.NotDone:
		return fmt.Errorf("%w: say when the person came or went home, or that the operation did not take place", errForm)
	case a.Does != casework.ActSign:
		return nil
	case a.Signs == "":
		return fmt.Errorf("%w: say what the prescriber signed", errForm)
	case a.Owner == "":
		return fmt.Errorf("%w: a decision on a medicine is signed by a prescriber with a name", errForm)
	case a.Signs == casework.SignOtherDay && a.Dose == "":
		return fmt.Errorf("%w: say on which day the last dose is", errForm)
	case a.Signs == casework.SignOtherDose && a.DoseWords == "":
		return fmt.Errorf("%w: say in words for the patient what is taken and when", errForm)
	case a.Signs != casework.SignOtherDose && a.DoseWords != "":
		return fmt.Errorf("%w: another dose is written, and another choice than to take it in another dose: choose one of them", errForm)
	case a.Signs != casework.SignAdvised && a.Signs != casework.SignOtherDose && a.Reason == "": // of another dose it is judged with the rules
		return fmt.Errorf("%w: say why the prescriber decided otherwise than advised", errForm)
	case a.Signs != casework.SignOtherDay && a.Dose+a.DoseAt != "":
		return fmt.Errorf("%w: a day is given, and another choice than a last dose on that day: choose one of them", errForm)
	}
	return nil
}

// meantPage asks whether a last dose later than the rules give is meant, or that a
// medicine goes on of which they give one.
type meantPage struct {
	page
	Words, To, Back string
	GoesOn          bool
	Fields          []formField
}

// formField is what was sent, to be sent again.
type formField struct{ Name, Value string }

// askMeant shows what was about to be signed, to be confirmed with a second
// press. Nothing is stored yet.
func (d *Desk) askMeant(c *gin.Context, words string) error {
	p := meantPage{page: d.newPage(c, "Sign it all the same?", ""), Words: words, To: c.Request.URL.Path, Back: backOf(c), GoesOn: c.PostForm("signs") == casework.SignGoOn || c.PostForm("signs") == casework.SignOtherDose}
	p.Path = p.Back
	for _, name := range []string{"version", "does", "signs", "dose", "dose-at", "dose-words", "reason", "owner", "on"} {
		p.Fields = append(p.Fields, formField{name, c.PostForm(name)})
	}
	return d.render(c, http.StatusUnprocessableEntity, "meant", p)
}
