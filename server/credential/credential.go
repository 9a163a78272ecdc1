// Package credential is what leaves the house: badges, statements, the calendar
// of lapses, lists as CSV, lists of people, and what a certificate says. Plain
// values in, bytes out. SQL, pages, the network and the clock must not live
// here, nor the rules of what makes a sign-off or when it lapses.
package credential

import (
	"crypto/sha1" // RFC 9562 makes version 5 of it; nothing rests on its strength
	"encoding/hex"
	"net/url"
	"strings"
	"time"
)

// Signed is a sign-off as a stranger may see it.
type Signed struct {
	ID           string // the record's, drawn at random
	Address      string // of the public page that says how it stands
	Competency   string // its id
	Title        string // the competency's name, in the language of the paper
	SetupTag     string
	SetupVersion string
	At           time.Time // when it was signed
	Lapses       time.Time // the first moment it holds no more
}

// space is the name space of our UUIDs, drawn once.
var space = [16]byte{0x9c, 0x1f, 0x0e, 0x52, 0x6d, 0x3a, 0x4b, 0x77, 0xa1, 0xe4, 0x35, 0xd0, 0x88, 0x2b, 0xf6, 0x19}

// uuid is the same for the same words, and for no others.
func uuid(words ...string) string { return uuid5(space, strings.Join(words, "\x00")) }

// uuid5 is a UUID of version 5 (RFC 9562, 5.5).
func uuid5(space [16]byte, name string) string {
	sum := sha1.Sum(append(space[:], name...))
	b := sum[:16]
	b[6] = b[6]&0x0f | 0x50
	b[8] = b[8]&0x3f | 0x80
	h := hex.EncodeToString(b)
	return h[:8] + "-" + h[8:12] + "-" + h[12:16] + "-" + h[16:20] + "-" + h[20:]
}

// webAddress tells whether a text is a whole address on the web.
func webAddress(s string) bool {
	u, err := url.Parse(s)
	return err == nil && (u.Scheme == "https" || u.Scheme == "http") && u.Host != "" && u.User == nil
}
