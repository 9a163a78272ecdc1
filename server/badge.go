package server

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/gofiber/fiber/v2"

	"lampwright/locales/problem"
	"lampwright/server/credential"
)

// badgeKeyFile is the key that signs badges, in the data folder.
const badgeKeyFile = "badge.key"

// mostSecret bounds a file that holds a secret.
const mostSecret = 4 << 10

// badgeKey reads the key that signs badges, and makes it where there is none.
func badgeKey(path string) (*ecdsa.PrivateKey, error) {
	data, err := readSecret(path)
	if errors.Is(err, fs.ErrNotExist) {
		data, err = newBadgeKey(path)
	}
	if err != nil {
		return nil, err
	}
	block, _ := pem.Decode(data)
	if block == nil {
		return nil, errors.New("it is no PEM")
	}
	parsed, err := x509.ParsePKCS8PrivateKey(block.Bytes)
	if err != nil {
		return nil, err
	}
	key, ok := parsed.(*ecdsa.PrivateKey)
	if !ok || key.Curve != elliptic.P256() {
		return nil, errors.New("it is no key on P-256")
	}
	return key, nil
}

// newBadgeKey makes a key. It takes its name last, so that half of one is
// never read.
func newBadgeKey(path string) ([]byte, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, err
	}
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, err
	}
	data := pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der})
	made := path + ".new"
	if err := os.Remove(made); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	f, err := os.OpenFile(made, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return nil, err
	}
	_, err = f.Write(data)
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return nil, err
	}
	return data, os.Rename(made, path)
}

// readSecret reads a small file that must be readable by nobody else.
func readSecret(path string) ([]byte, error) {
	info, err := os.Stat(path) // before it is opened: a pipe would wait for its writer
	if err != nil {
		return nil, err
	}
	if err := private(info); err != nil {
		return nil, err
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	if info, err = f.Stat(); err == nil {
		err = private(info)
	}
	if err != nil {
		return nil, err
	}
	return io.ReadAll(io.LimitReader(f, mostSecret))
}

func private(info fs.FileInfo) error {
	if mode := info.Mode(); !mode.IsRegular() || mode.Perm()&0o077 != 0 {
		return fmt.Errorf("%s has mode %v, expected a file of mode 0600", info.Name(), mode)
	}
	return nil
}

// badges is what signs them: a key, or why there is none.
type badges struct {
	key    *ecdsa.PrivateKey
	broken error
}

// openBadges readies the key. Without it everything else goes on, and who asks
// for a badge is told.
func (m *Main) openBadges() {
	if m.badges.key, m.badges.broken = badgeKey(filepath.Join(m.config.Data, badgeKeyFile)); m.badges.broken != nil {
		m.badges.broken = problem.Wrap(m.badges.broken, problem.Unavailable, "problem.badge-key-file")
		m.log.Error("badges", "error", m.badges.broken)
	}
}

// issuer is the programme as badges name it.
func (m *Main) issuer(c *fiber.Ctx) credential.Issuer {
	base := m.base(c)
	name := m.at(c).Name
	if name == "" { // a house that was never given one
		name = base
	}
	return credential.Issuer{URL: base, Name: name, Keys: base + "/.well-known/jwks.json"}
}

// badge is a sign-off that holds, signed for any program that reads Open
// Badges. Only who it is about may have their name in it.
func (m *Main) badge(c *fiber.Ctx) error {
	v := m.view(c)
	o, err := m.own(c)
	if err != nil {
		return err
	}
	past, err := m.past(c, o.PersonID)
	if err != nil {
		return err
	}
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	j, err := m.judged(c, o, past, now)
	if err != nil {
		return err
	}
	if !j.Standing.Holds() {
		return problem.New(problem.Moved, "problem.badge-not-now", "Standing", v.speak.T(j.Standing.Key()))
	}
	if m.badges.broken != nil {
		return m.badges.broken
	}
	name := ""
	if c.Query("name") == "yes" && o.PersonID == v.person.ID {
		name = o.PersonName
	}
	token, err := credential.SignBadge(m.signedOf(c, o, v.speak.T("competency.name."+o.Competency)), m.issuer(c), m.badges.key, name, v.speak)
	if err != nil {
		return err
	}
	return download(c, fiber.MIMETextPlainCharsetUTF8, "badge-"+o.ID+".jwt", token)
}

// keyDocument is what checks a badge, for whoever keeps it.
func (m *Main) keyDocument(c *fiber.Ctx) error {
	if m.badges.broken != nil {
		return m.badges.broken
	}
	document, err := credential.KeyDocument(m.issuer(c), &m.badges.key.PublicKey)
	if err != nil {
		return err
	}
	c.Set("Cache-Control", "public, max-age=300")
	c.Set("Content-Type", "application/jwk-set+json")
	return c.Send(document)
}

// download sends a file to be kept.
func download(c *fiber.Ctx, contentType, name string, data []byte) error {
	c.Set("Content-Type", contentType)
	c.Set("Content-Disposition", `attachment; filename="`+name+`"`)
	return c.Send(data)
}
