# shellcheck shell=bash
# Background processes with a pid file in var/run and a log in var/log.

RUN_DIR=$VAR_DIR/run

# service_start NAME COMMAND...
service_start() {
    local name=$1 log=$VAR_DIR/log/$1.log pid
    shift
    mkdir -p "$RUN_DIR" "$VAR_DIR/log"
    [[ ! -f $log ]] || mv "$log" "$log.1"
    setsid "$@" >"$log" 2>&1 </dev/null 8>&- 9>&- &
    pid=$!
    echo "$pid $(process_start_time "$pid")" >"$RUN_DIR/$name.pid"
}

service_alive() {
    local pid started
    [[ -f $RUN_DIR/$1.pid ]] || return 1
    read -r pid started <"$RUN_DIR/$1.pid" || return 1
    [[ -n $started && $(process_start_time "$pid") == "$started" ]]
}

# service_stop NAME...: asks the processes to end, all at once, and after 15 s
# ends what is left of their groups.
service_stop() {
    local name
    for name in "$@"; do
        service_signal "$name" TERM
    done
    for name in "$@"; do
        wait_until_gone "$name" || service_signal "$name" KILL
        rm -f "$RUN_DIR/$name.pid"
    done
}

service_signal() {
    local pid
    service_alive "$1" || return 0
    read -r pid _ <"$RUN_DIR/$1.pid"
    if [[ $2 == KILL ]]; then pid=-$pid; fi
    kill -s "$2" -- "$pid" 2>/dev/null || true
}

wait_until_gone() {
    local tries=0
    while service_alive "$1"; do
        ((++tries <= 150)) || return 1
        sleep 0.1
    done
}

# In clock ticks since boot: tells a process from a later one with its number.
process_start_time() {
    local fields
    fields=$(cat "/proc/$1/stat" 2>/dev/null) || return 0
    read -r -a fields <<<"${fields##*) }"
    [[ ${fields[0]} == Z ]] || echo "${fields[19]}"
}

# http_ok HOST PORT PATH: whether a GET answers with status 200 within 3 s.
http_ok() {
    local status
    # shellcheck disable=SC2016 # expanded by the inner shell
    status=$(timeout 3 bash -c '
        exec 3<>"/dev/tcp/$1/$2" || exit
        printf "GET %s HTTP/1.0\r\nHost: localhost\r\n\r\n" "$3" >&3
        IFS= read -r line <&3 && echo "$line"' - "$@" 2>/dev/null) || true
    [[ $status == "HTTP/"*" 200 "* ]]
}

# shellcheck disable=SC2016 # expanded by the inner shell
port_taken() { timeout 2 bash -c 'exec 3<>"/dev/tcp/$1/$2"' - "$@" 2>/dev/null; }
