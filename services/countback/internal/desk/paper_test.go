package desk

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// A name on paper is text, whatever it holds: it ends no string, rule or element.
func TestPaperStyle(t *testing.T) {
	require.Equal(t, `"Zoë D\000027 Arcy\00000a \000022 \00003b \00007d \00003c \00002f style\00003e "`, cssString("Zoë D'Arcy\n\";}</style>"))
	style := string(page{Title: "This morning", AsOf: "Fri"}.PaperStyle())
	require.Contains(t, style, `content:"This morning \0000b7  as of Fri"`)
	require.Contains(t, string(page{Title: "Case", Slip: "Alaric, P\\1", AsOf: "Fri"}.PaperStyle()), `content:"Alaric\00002c  P\00005c 1 \0000b7  as of Fri"`)
	require.Contains(t, style, `counter(page) " of " counter(pages)`)
	require.Contains(t, policy("a{}"), "style-src 'self' 'sha256-", "no other style of the page counts")
	require.Contains(t, policy(""), "style-src 'self';")
}
