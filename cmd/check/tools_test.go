package main

import (
	"slices"
	"testing"
)

func TestInstallPlan(t *testing.T) {
	tests := map[string]struct {
		root, apt bool
		commands  []string // the last command
		advice    string
	}{
		"root on Debian installs": {
			root: true, apt: true,
			commands: []string{"apt-get", "install", "-y", "--no-install-recommends", "chromium", "ngspice"},
		},
		"without root it says exactly what to install": {
			apt: true,
			advice: "Missing, and only root may install them. Run:\n" +
				"    sudo apt-get update && sudo apt-get install -y --no-install-recommends chromium ngspice",
		},
		"elsewhere it names the packages": {
			root:   true,
			advice: "Install what does the work of these Debian packages: chromium ngspice",
		},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			commands, advice := installPlan([]string{"chromium", "ngspice"}, test.root, test.apt)
			if advice != test.advice {
				t.Errorf("says %q, want %q", advice, test.advice)
			}
			if test.commands == nil {
				if commands != nil {
					t.Errorf("would run %v", commands)
				}
				return
			}
			if len(commands) != 2 || !slices.Equal(commands[0], []string{"apt-get", "update"}) || !slices.Equal(commands[1], test.commands) {
				t.Errorf("would run %v, want an update and %v", commands, test.commands)
			}
		})
	}
}
