// Command samples writes inputs of the engine to a directory, for comparing what processors make of them. See deploy/soak.
package main

import (
	"fmt"
	"os"
	"path/filepath"

	"lastlight/engine"
	"lastlight/engine/enginetest"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: samples DIRECTORY")
		os.Exit(2)
	}
	for name, in := range map[string]engine.Input{"pair.json": enginetest.Pair(), "expedition.json": enginetest.Expedition(60, 3, 500)} {
		b, err := engine.Bytes(in)
		if err == nil {
			err = os.WriteFile(filepath.Join(os.Args[1], name), b, 0o600)
		}
		if err != nil {
			fmt.Fprintln(os.Stderr, "samples:", err)
			os.Exit(1)
		}
	}
}
