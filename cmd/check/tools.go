package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

const compilerAdvice = "SQLite needs a C compiler: sudo apt-get install -y gcc libc6-dev"

// installTools installs what the later steps need and cannot find, or says how.
func installTools(c *check) result {
	var trouble []string
	if err := c.debianPackages(); err != nil {
		trouble = append(trouble, err.Error())
	}
	if find(compiler()) == "" {
		trouble = append(trouble, compilerAdvice)
	}
	if find("npm") != "" {
		if err := c.npmTools(); err != nil {
			trouble = append(trouble, err.Error())
		}
	}
	if len(trouble) > 0 {
		return failed(strings.Join(trouble, "\n"))
	}
	return passed("")
}

// debianPackages installs those that are missing, and looks again.
func (c *check) debianPackages() error {
	missing := missingPackages()
	if len(missing) == 0 {
		return nil
	}
	commands, advice := installPlan(missing, os.Geteuid() == 0, find("apt-get") != "")
	if advice != "" {
		return errors.New(advice)
	}
	c.say("installing " + strings.Join(missing, ", "))
	for _, args := range commands {
		if out, err := c.exec([]string{"DEBIAN_FRONTEND=noninteractive"}, args...); err != nil {
			return fmt.Errorf("%s%w", out, err)
		}
	}
	if missing = missingPackages(); len(missing) > 0 {
		return errors.New("installed, and still not found: " + strings.Join(missing, ", "))
	}
	return nil
}

// missingPackages names the Debian packages whose work nothing here does yet.
func missingPackages() []string {
	var missing []string
	if find("chromium", "chromium-browser") == "" {
		missing = append(missing, "chromium")
	}
	if find("ngspice") == "" {
		missing = append(missing, "ngspice")
	}
	if find("npm") == "" {
		missing = append(missing, "npm")
	}
	if find("fc-list") == "" {
		missing = append(missing, "fontconfig")
	}
	if fonts, err := exec.Command("fc-list", ":lang=ar").Output(); err != nil || len(bytes.TrimSpace(fonts)) == 0 {
		missing = append(missing, "fonts-noto-core")
	}
	return missing
}

// installPlan returns the commands that install Debian packages, or, where they cannot be run, what a person must type.
func installPlan(packages []string, root, apt bool) (commands [][]string, advice string) {
	if root && apt {
		return [][]string{
			{"apt-get", "update"},
			append([]string{"apt-get", "install", "-y", "--no-install-recommends"}, packages...),
		}, ""
	}
	names := strings.Join(packages, " ")
	if !apt {
		return nil, "Install what does the work of these Debian packages: " + names
	}
	return nil, "Missing, and only root may install them. Run:\n" +
		"    sudo apt-get update && sudo apt-get install -y --no-install-recommends " + names
}

// npmTools installs what .ci/npm locks into .tools/npm, unless it is there already.
func (c *check) npmTools() error {
	from, to := filepath.Join(c.root, ".ci", "npm"), filepath.Join(c.root, ".tools", "npm")
	names := []string{"package.json", "package-lock.json"}
	current := exists(filepath.Join(to, "node_modules", ".package-lock.json")) // npm writes it last
	for _, name := range names {
		want, err := os.ReadFile(filepath.Join(from, name))
		if err != nil {
			return err
		}
		have, err := os.ReadFile(filepath.Join(to, name))
		current = current && err == nil && bytes.Equal(have, want)
	}
	if current {
		return nil
	}
	c.say("installing npm tools")
	if err := os.RemoveAll(to); err != nil {
		return err
	}
	if err := os.MkdirAll(to, 0o755); err != nil {
		return err
	}
	for _, name := range names {
		text, err := os.ReadFile(filepath.Join(from, name))
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(to, name), text, 0o644); err != nil {
			return err
		}
	}
	if out, err := c.exec(nil, "npm", "ci", "--ignore-scripts", "--prefix", to); err != nil {
		return fmt.Errorf("%s%w", out, err)
	}
	return nil
}

// find returns the path of the first of some programs that is here, or nothing.
func find(programs ...string) string {
	for _, name := range programs {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	return ""
}

// compiler returns the C compiler that Go would use.
func compiler() string {
	out, err := exec.Command("go", "env", "CC").Output()
	words := strings.Fields(string(out))
	if err != nil || len(words) == 0 {
		return "cc"
	}
	return words[0]
}
