package store

import "os/exec"

func asNobody(*exec.Cmd) {}
