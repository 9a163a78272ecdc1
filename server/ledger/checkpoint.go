package ledger

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"

	"github.com/transparency-dev/formats/log"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"lampwright/locales/problem"
)

const maxText = 64 << 10 // of a checkpoint: some hundred bytes are usual

// Checkpoint is the log's state at one size, as someone signed it.
type Checkpoint struct {
	Origin  string // the log's name
	Size    int64
	Root    tlog.Hash
	Keys    []string // whose signatures were verified, each as name+hash
	Unknown []string // whose could not be: no verifier was given
}

// OpenCheckpoint reads a signed checkpoint. At least one of the verifiers, and
// one that bears the log's name, must have signed it.
func OpenCheckpoint(text []byte, verifiers ...string) (_ Checkpoint, err error) {
	defer problem.In(&err, "ledger.OpenCheckpoint")
	known, err := readVerifiers(verifiers)
	if err != nil {
		return Checkpoint{}, err
	}
	return open(text, known)
}

func open(text []byte, known []verifier) (Checkpoint, error) {
	c, err := readCheckpoint(text)
	if err != nil {
		return Checkpoint{}, problem.Wrap(err, problem.Invalid, "ledger.checkpoint-unreadable")
	}
	n, err := note.Open(text, list(known))
	var unverified *note.UnverifiedNoteError
	var invalid *note.InvalidSignatureError
	switch {
	case errors.As(err, &unverified):
		n = unverified.Note
	case errors.As(err, &invalid):
		return Checkpoint{}, problem.Wrap(err, problem.Invalid, "ledger.checkpoint-false", "Key", keyID(invalid.Name, invalid.Hash))
	case err != nil:
		return Checkpoint{}, problem.Wrap(err, problem.Invalid, "ledger.checkpoint-unreadable")
	}
	own := false
	for _, s := range n.Sigs {
		own = own || s.Name == c.Origin
		c.Keys = append(c.Keys, keyID(s.Name, s.Hash))
	}
	for _, s := range n.UnverifiedSigs {
		c.Unknown = append(c.Unknown, keyID(s.Name, s.Hash))
	}
	if err := strict(text, n); err != nil {
		return Checkpoint{}, problem.Wrap(err, problem.Invalid, "ledger.checkpoint-unreadable")
	}
	if !own {
		return c, problem.New(problem.Invalid, "ledger.key-unknown", "Keys", strings.Join(append(c.Keys, c.Unknown...), ", "))
	}
	return c, nil
}

// readCheckpoint reads the body of a checkpoint in the one form that is
// written, and looks at no signature.
func readCheckpoint(text []byte) (Checkpoint, error) {
	if len(text) > maxText {
		return Checkpoint{}, fmt.Errorf("%d bytes", len(text))
	}
	body := bodyOfNote(text)
	var c log.Checkpoint
	if _, err := c.Unmarshal(body); err != nil {
		return Checkpoint{}, err
	}
	if !validOrigin(c.Origin) || c.Size > math.MaxInt64 || len(c.Hash) != tlog.HashSize || !bytes.Equal(c.Marshal(), body) {
		return Checkpoint{}, errors.New("not in canonical form")
	}
	return Checkpoint{Origin: c.Origin, Size: int64(c.Size), Root: tlog.Hash(c.Hash)}, nil
}

// strict refuses what note.Open lets pass in the signatures: repetitions, and
// letters of base64 that differ in bits without meaning.
func strict(text []byte, n *note.Note) error {
	signatures := slices.Concat(n.Sigs, n.UnverifiedSigs)
	if bytes.Count(text, []byte("\n— ")) != len(signatures) {
		return errors.New("a signature stands there twice")
	}
	for _, s := range signatures {
		if _, err := base64.StdEncoding.Strict().DecodeString(s.Base64); err != nil {
			return err
		}
	}
	return nil
}

// bodyOfNote is what the signatures of a note are over.
func bodyOfNote(text []byte) []byte {
	return text[:bytes.LastIndex(text, []byte("\n\n"))+1]
}

// ProveConsistency proves that the log of size grown contains all that it
// contained at size old, at least 1.
func ProveConsistency(old, grown int64, r tlog.HashReader) (_ tlog.TreeProof, err error) {
	defer problem.In(&err, "ledger.ProveConsistency")
	return tlog.ProveTree(grown, old, r)
}

// CheckConsistency says whether the proof shows that the log of the checkpoint
// grown contains all that the log of the checkpoint old contained.
func CheckConsistency(old, grown Checkpoint, p tlog.TreeProof) (err error) {
	defer problem.In(&err, "ledger.CheckConsistency")
	if err := tlog.CheckTree(p, grown.Size, grown.Root, old.Size, old.Root); err != nil {
		return problem.Wrap(err, problem.Invalid, "ledger.not-consistent", "Old", old.Size, "New", grown.Size)
	}
	return nil
}

// verifier is a key that someone trusts, and its line in canonical form.
type verifier struct {
	note.Verifier
	line string
}

func readVerifier(line string) (verifier, error) {
	line = strings.TrimSpace(line)
	v, err := note.NewVerifier(line)
	if err != nil || !validOrigin(v.Name()) {
		return verifier{}, problem.Wrap(err, problem.Invalid, "ledger.verifier-invalid", "Verifier", line)
	}
	_, key, _ := strings.Cut(strings.TrimPrefix(line, v.Name()+"+"), "+")
	if b, err := base64.StdEncoding.DecodeString(key); err == nil {
		key = base64.StdEncoding.EncodeToString(b)
	}
	return verifier{v, keyID(v.Name(), v.KeyHash()) + "+" + key}, nil
}

func readVerifiers(lines []string) ([]verifier, error) {
	var known []verifier
	for _, line := range lines {
		v, err := readVerifier(line)
		if err != nil {
			return nil, err
		}
		known = append(known, v)
	}
	return known, nil
}

// list is for note.Open, which refuses to choose between two: of two keys with
// the same name and hash the first is meant.
func list(known []verifier) note.Verifiers {
	seen := map[string]bool{}
	var once []note.Verifier
	for _, v := range known {
		if id := keyID(v.Name(), v.KeyHash()); !seen[id] {
			seen[id] = true
			once = append(once, v.Verifier)
		}
	}
	return note.VerifierList(once...)
}

func keyID(name string, hash uint32) string { return fmt.Sprintf("%s+%08x", name, hash) }

// validOrigin: what a note takes as the name of a key, on one line to be read.
func validOrigin(origin string) bool {
	return origin != "" && len(origin) <= 200 && !strings.Contains(origin, "+") &&
		!strings.ContainsFunc(origin, func(r rune) bool { return r == unicode.ReplacementChar || unicode.IsSpace(r) || !unicode.IsPrint(r) })
}
