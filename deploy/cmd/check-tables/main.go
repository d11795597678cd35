// Command check-tables runs the engine against every published table in a
// directory and says what differs. Exit status 0 when all agree, 1 when
// anything differs or no file was recognised, 2 for a usage error.
package main

import (
	"fmt"
	"os"
	"path/filepath"

	"lastlight/deploy/internal/tables"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: check-tables DIR")
		os.Exit(2)
	}
	os.Exit(run(os.Args[1]))
}

func run(dir string) int {
	names, err := filepath.Glob(filepath.Join(dir, "*.json"))
	if err != nil || len(names) == 0 {
		fmt.Fprintf(os.Stderr, "check-tables: no .json file in %s\n", dir)
		return 1
	}
	known, failed := 0, 0
	for _, name := range names {
		base := filepath.Base(name)
		reader := tables.For(name)
		if reader == nil {
			fmt.Printf("%-26s no reader for this name (known: %v)\n", base, tables.Known())
			continue
		}
		known++
		content, err := os.ReadFile(name)
		if err != nil {
			fmt.Printf("%-26s cannot be read: %v\n", base, err)
			failed++
			continue
		}
		result, err := tables.Check(reader, content)
		if err != nil {
			fmt.Printf("%-26s not a table of this kind: %v\n", base, err)
			failed++
			continue
		}
		at := ""
		if result.LargeAt != "" {
			at = " at " + result.LargeAt
		}
		fmt.Printf("%-26s rows %5d   failures %4d   not covered %4d   largest deviation %.2g%s\n",
			base, result.Rows, len(result.Failures), len(result.Skipped), result.Largest, at)
		for _, line := range result.Failures {
			fmt.Println("  differs:", line)
		}
		for _, line := range result.Skipped {
			fmt.Println("  not covered:", line)
		}
		if len(result.Failures) > 0 || result.Rows == 0 {
			failed++
		}
	}
	if known == 0 || failed > 0 {
		return 1
	}
	return 0
}
