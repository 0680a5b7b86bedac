package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/user"
	"path/filepath"
	"strconv"

	"binwatchd/internal/secret"
)

// keepSecret writes a secret into a file of its own in a folder, and gives the file's name. What
// another file holds is not touched. The daemon's group may read it where root writes it.
func keepSecret(folder, name, text string) (file string, err error) {
	for n := 1; ; n++ {
		file = name + ".secret"
		if n > 1 {
			file = fmt.Sprintf("%s-%d.secret", name, n)
		}
		path := filepath.Join(folder, file)
		if held, err := secret.InFile(path).Reveal(); err == nil && held == text {
			return file, nil
		}
		f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		switch {
		case errors.Is(err, fs.ErrExist):
			continue
		case err != nil:
			return "", fmt.Errorf("keep secret: %w", err)
		}
		_, err = f.WriteString(text + "\n")
		if g, found := user.LookupGroup("binwatchd"); err == nil && found == nil && os.Geteuid() == 0 {
			gid, _ := strconv.Atoi(g.Gid) // a number on every Unix
			err = errors.Join(f.Chown(-1, gid), f.Chmod(0o640))
		}
		if err = errors.Join(err, f.Close()); err != nil {
			return "", fmt.Errorf("keep secret: %w", err)
		}
		return file, nil
	}
}
