package setup

import (
	"embed"
	"fmt"
)

//go:embed demo/*.yaml
var demo embed.FS

// DemoNames are the demo set-ups, in the order they are shown.
var DemoNames = []string{"chair-12", "chair-7", "chair-21"}

// Demo reads a demo set-up by name; nil with an error if there is none.
func Demo(name string) (*Setup, error) {
	file := "demo/" + name + ".yaml"
	data, err := demo.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("no demo set-up %q: %w", name, err)
	}
	return Read(file, data)
}

// DemoFile is a demo set-up's YAML as it stands.
func DemoFile(name string) ([]byte, error) { return demo.ReadFile("demo/" + name + ".yaml") }
