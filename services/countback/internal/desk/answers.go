package desk

import (
	"net/http"
	"strings"

	"github.com/gin-gonic/gin"

	"example.org/countback/services/countback/internal/casework"
)

// answersPage is what a person answered, to be read.
type answersPage struct {
	page
	casework.Answered
	When string
}

func (d *Desk) answersPage(c *gin.Context) error {
	found, err := d.Office.Answered(c.Request.Context(), c.Param("id"))
	if err != nil {
		return err
	}
	p := answersPage{page: d.newPage(c, "What was answered", ""), Answered: *found, When: d.instant(found.Authored)}
	p.Slip = strings.Join(append([]string{found.Person.Name}, found.Person.Identifiers...), ", ") + " · " + p.Title
	return d.render(c, http.StatusOK, "answers", p)
}
