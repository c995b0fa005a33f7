package casework

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"strconv"
	"strings"
	"time"
)

// Loggable is the text of an error for the log. Our own error texts hold
// nothing that was sent; some of the standard library quote their input, and of
// those only the types are named.
func Loggable(err error) string {
	var (
		number *strconv.NumError
		date   *time.ParseError
		syntax *json.SyntaxError
		kind   *json.UnmarshalTypeError
		link   *url.Error
	)
	if errors.As(err, &number) || errors.As(err, &date) || errors.As(err, &syntax) || errors.As(err, &kind) || errors.As(err, &link) {
		var types []string
		for e := err; e != nil; e = errors.Unwrap(e) {
			types = append(types, fmt.Sprintf("%T", e))
		}
		return strings.Join(types, " > ")
	}
	return err.Error()
}
