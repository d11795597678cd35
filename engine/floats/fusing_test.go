package floats

import (
	"os"
	"os/exec"
	"regexp"
	"testing"
)

// TestNothingIsFused compiles engine packages for arm64, a processor that fuses
// multiply and add, and looks for such instructions: each is a product that
// lacks its float64() conversion and would give other bits than on amd64.
func TestNothingIsFused(t *testing.T) {
	if testing.Short() {
		t.Skip("compiles for another processor")
	}
	cmd := exec.Command("go", "build", "-gcflags=-S",
		"lastlight/engine/floats", "lastlight/engine/water", "lastlight/engine/gas", "lastlight/engine/tissue", "lastlight/engine/deco",
		"lastlight/engine/oxygen", "lastlight/engine/passage", "lastlight/engine/route")
	cmd.Env = append(os.Environ(), "GOARCH=arm64", "GOOS=linux", "CGO_ENABLED=0")
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	if !regexp.MustCompile(`\bFMULD\b`).Match(out) {
		t.Fatal("no multiplication in the listing: the compiler's output changed, mend this test")
	}
	for _, line := range regexp.MustCompile(`(?m)^.*\bFN?M(ADD|SUB)[DS]\b.*$`).FindAllString(string(out), 40) {
		t.Error("fused:", line)
	}
}
