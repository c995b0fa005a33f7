package desk

import (
	"net/http"

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
	return d.render(c, http.StatusOK, "answers", answersPage{
		page: d.newPage(c, "What was answered", ""), Answered: *found, When: d.instant(found.Authored),
	})
}
