package ledger

import (
	"crypto/ed25519"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strconv"
	"strings"

	"github.com/transparency-dev/formats/log"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"lampwright/locales/problem"
)

// Key signs the log's checkpoints (Ed25519).
type Key struct {
	signer   note.Signer
	verifier string
}

// NewKey makes the content of a key file for a log of this name: a host and a
// path are usual, without spaces or "+". Write it with mode 0600.
func NewKey(origin string, random io.Reader) (_ []byte, err error) {
	defer problem.In(&err, "ledger.NewKey")
	if !validOrigin(origin) {
		return nil, problem.New(problem.Invalid, "ledger.origin-invalid", "Origin", origin)
	}
	secret, _, err := note.GenerateKey(random, origin)
	if err != nil {
		return nil, err
	}
	return []byte(secret + "\n"), nil
}

// LoadKey reads a key file. It refuses one that others on the machine can read.
func LoadKey(path string) (_ *Key, err error) {
	defer problem.In(&err, "ledger.LoadKey")
	info, err := os.Stat(path) // before it is opened: a pipe would wait for its writer
	if err == nil {
		err = private(path, info)
	}
	if err != nil {
		return nil, keyFile(path, err)
	}
	file, err := os.Open(path)
	if err != nil {
		return nil, keyFile(path, err)
	}
	defer file.Close()
	if info, err = file.Stat(); err == nil {
		err = private(path, info)
	}
	if err != nil {
		return nil, keyFile(path, err)
	}
	text, err := io.ReadAll(io.LimitReader(file, maxText))
	if err != nil {
		return nil, keyFile(path, err)
	}
	k, err := readKey(text)
	if err != nil {
		return nil, problem.Wrap(err, problem.Unavailable, "ledger.key-file-invalid", "File", path)
	}
	return k, nil
}

// private refuses what is no file or is open to others.
func private(path string, info fs.FileInfo) error {
	switch mode := info.Mode(); {
	case !mode.IsRegular():
		return problem.New(problem.Unavailable, "ledger.key-file-irregular", "File", path)
	case mode.Perm()&0o077 != 0:
		return problem.New(problem.Unavailable, "ledger.key-file-open", "File", path, "Mode", fmt.Sprintf("%#o", mode.Perm()))
	}
	return nil
}

// keyFile says that the file cannot be read, unless more is known.
func keyFile(path string, err error) error {
	var p *problem.Problem
	if errors.As(err, &p) {
		return err
	}
	return problem.Wrap(err, problem.Unavailable, "ledger.key-file-unreadable", "File", path)
}

// readKey reads the content of a key file. What it returns as an error never
// holds the key.
func readKey(text []byte) (*Key, error) {
	secret := strings.TrimSpace(string(text))
	signer, err := note.NewSigner(secret)
	if err != nil {
		return nil, err
	}
	if !validOrigin(signer.Name()) {
		return nil, errors.New("the log's name is not valid")
	}
	// PRIVATE+KEY+name+hash+base64 of a byte for Ed25519 and the seed: the signer has checked it.
	parts := strings.SplitN(secret, "+", 5)
	raw, err := base64.StdEncoding.DecodeString(parts[4])
	if err != nil {
		return nil, err
	}
	public, _ := ed25519.NewKeyFromSeed(raw[1:]).Public().(ed25519.PublicKey)
	line, err := note.NewEd25519VerifierKey(signer.Name(), public)
	if err != nil {
		return nil, err
	}
	return &Key{signer, line}, nil
}

// Origin is the log's name.
func (k *Key) Origin() string { return k.signer.Name() }

// Verifier is the line that strangers pin: name, hash and public key.
func (k *Key) Verifier() string { return k.verifier }

// Checkpoint signs the log's state. The first one after a change of key is
// signed with the old key too.
func (k *Key) Checkpoint(size int64, root tlog.Hash, with ...*Key) (_ []byte, err error) {
	defer problem.In(&err, "ledger.Checkpoint")
	if size < 0 {
		return nil, fmt.Errorf("a log of %d entries", size)
	}
	signers := []note.Signer{k.signer}
	for _, other := range with {
		if other.Origin() != k.Origin() {
			return nil, fmt.Errorf("a key of %s, not of %s", other.Origin(), k.Origin())
		}
		signers = append(signers, other.signer)
	}
	body := log.Checkpoint{Origin: k.Origin(), Size: uint64(size), Hash: root[:]}.Marshal()
	return note.Sign(&note.Note{Text: string(body)}, signers...)
}

// change is what a KeyChanged entry says: over the log as it was before it.
type change struct {
	origin   string
	size     int64
	root     tlog.Hash
	from, to verifier
}

const changeTitle = "lampwright change of key 1" // no log's name: it has spaces

func (c change) text() string {
	return fmt.Sprintf("%s\n%s\n%d\n%s\n%s\n%s\n", changeTitle, c.origin, c.size, c.root, c.from.line, c.to.line)
}

// ChangeTo makes the record of the KeyChanged entry that comes next in the log:
// a note with the log's name, size and root and both verifier lines, signed by
// both keys.
func (k *Key) ChangeTo(next *Key, edge Edge) (_ []byte, err error) {
	defer problem.In(&err, "ledger.ChangeTo")
	lines, err := readVerifiers([]string{k.verifier, next.verifier})
	if err != nil {
		return nil, err
	}
	c := change{k.Origin(), edge.Size(), edge.Root(), lines[0], lines[1]}
	record, err := note.Sign(&note.Note{Text: c.text()}, k.signer, next.signer)
	if err != nil {
		return nil, err
	}
	_, err = readChange(record)
	return record, err
}

// readChange reads the one form that ChangeTo writes, and checks both
// signatures: it says nothing about whether the old key was to be trusted.
func readChange(record []byte) (change, error) {
	body := bodyOfNote(record)
	lines := strings.Split(string(body), "\n")
	if len(record) > MaxRecord || len(lines) != 7 {
		return change{}, errors.New("not a change of key")
	}
	size, err := strconv.ParseInt(lines[2], 10, 64)
	if err != nil {
		return change{}, err
	}
	root, err := tlog.ParseHash(lines[3])
	if err != nil {
		return change{}, err
	}
	keys, err := readVerifiers(lines[4:6])
	if err != nil {
		return change{}, err
	}
	c := change{lines[1], size, root, keys[0], keys[1]}
	if c.text() != string(body) || size < 0 || c.from.Name() != c.origin || c.to.Name() != c.origin || c.from.line == c.to.line {
		return change{}, errors.New("not in canonical form")
	}
	n, err := note.Open(record, list(keys))
	if err != nil {
		return change{}, err
	}
	if len(n.Sigs) != 2 || len(n.UnverifiedSigs) > 0 {
		return change{}, errors.New("not signed by both keys and no other")
	}
	return c, strict(record, n)
}
