package fhirpath

import (
	"fmt"
	"strings"
	"unicode"
)

// kind is the kind of a token.
type kind int

const (
	end kind = iota
	name
	text
	number
	date
	sign
)

type token struct {
	kind kind
	text string
	at   int
}

// signs, longest first.
var signs = []string{"<=", ">=", "!=", "!~", "{}", "=", "~", "<", ">", "+", "-", "*", "/", "&", "|", "(", ")", "[", "]", ".", ",", "{", "}"}

// lex cuts an expression into tokens; the last is of kind end.
func lex(source string) ([]token, error) {
	var out []token
	for at := 0; ; {
		for at < len(source) && unicode.IsSpace(rune(source[at])) {
			at++
		}
		if at == len(source) {
			return append(out, token{end, "", at}), nil
		}
		next, size, err := lexOne(source[at:])
		if err != nil {
			return nil, fmt.Errorf("%w at %d", err, at)
		}
		next.at = at
		out, at = append(out, next), at+size
	}
}

// lexOne reads the token that the source begins with.
func lexOne(source string) (token, int, error) {
	c := source[0]
	switch {
	case c == '\'' || c == '`':
		return lexQuoted(source)
	case isLetter(c) || c == '$' || c == '%':
		size := 1
		for size < len(source) && (isLetter(source[size]) || isDigit(source[size])) {
			size++
		}
		return token{kind: name, text: source[:size]}, size, nil
	case isDigit(c):
		size := span(source, "0123456789")
		if size+1 < len(source) && source[size] == '.' && isDigit(source[size+1]) {
			size += 1 + span(source[size+1:], "0123456789")
		}
		return token{kind: number, text: source[:size]}, size, nil
	case c == '@':
		size := 1 + span(source[1:], "0123456789-T:.Z+")
		return token{kind: date, text: source[1:size]}, size, nil
	}
	for _, s := range signs {
		if strings.HasPrefix(source, s) {
			return token{kind: sign, text: s}, len(s), nil
		}
	}
	return token{}, 0, fmt.Errorf("%w: %q begins nothing", ErrSyntax, c)
}

// escapes are those of N1, without \u.
var escapes = map[byte]byte{'\'': '\'', '"': '"', '`': '`', '\\': '\\', '/': '/', 'n': '\n', 'r': '\r', 't': '\t', 'f': '\f'}

func lexQuoted(source string) (token, int, error) {
	quote, out := source[0], []byte{}
	for n := 1; n < len(source); n++ {
		switch c := source[n]; {
		case c == quote && quote == '`':
			return token{kind: name, text: string(out)}, n + 1, nil
		case c == quote:
			return token{kind: text, text: string(out)}, n + 1, nil
		case c == '\\':
			n++
			if n == len(source) || escapes[source[n]] == 0 {
				return token{}, 0, fmt.Errorf("%w: an escape that is not known", ErrUnsupported)
			}
			out = append(out, escapes[source[n]])
		default:
			out = append(out, c)
		}
	}
	return token{}, 0, fmt.Errorf("%w: a text without its end", ErrSyntax)
}

func span(s, of string) int { return len(s) - len(strings.TrimLeft(s, of)) }

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

func isLetter(c byte) bool { return c == '_' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' }
