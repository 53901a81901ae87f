// One write: waits for its start, opens the gate, counts words and their channel bits, ends.
module write_control (
    input  wire        clock,
    input  wire        reset,
    input  wire        host_reset,
    input  wire        abort_transfer,
    input  wire        request,
    input  wire [15:0] words,
    input  wire        at_index,    // the write starts at the index, else at once
    input  wire        index,
    input  wire        cell_begin,
    input  wire        cell_end,
    input  wire        offer,
    input  wire        full,
    input  wire        empty,
    output wire        put,         // the offered word is taken
    output wire        get,         // the oldest word is begun
    output wire        clear,
    output wire        begins,      // with the first channel bit of a write
    output wire        advance,     // for one clock: a channel bit is written
    output reg  [3:0]  position,    // of that channel bit in its word
    output reg         write_gate,
    output reg         done,        // for one clock
    output wire        busy
);
    localparam [1:0] IDLE = 2'd0, WAIT_WORD = 2'd1, WAIT_INDEX = 2'd2, RUN = 2'd3;

    reg [1:0] state;
    reg index_passes;      // the cell that begins now is the first of the turn
    reg [15:0] to_fetch;
    reg [15:0] to_write;   // words that have not been begun

    wire at_word = position == 4'd0;

    assign busy = state != IDLE;
    assign put = offer && busy && !full && to_fetch != 16'd0;
    wire starts = cell_begin && !empty &&
                  (state == WAIT_WORD || (state == WAIT_INDEX && index_passes));
`ifdef FAULT_GATE_CELL_EARLY
    reg opened;

    always @(posedge clock)
        if (reset || !busy || begins)
            opened <= 1'b0;
        else if (starts)
            opened <= 1'b1;

    assign begins = cell_begin && state == RUN && opened;
`else
    assign begins = starts;
`endif
`ifdef FAULT_UNDERRUN_UNSEEN
    wire runs_on = cell_begin && state == RUN;
    wire runs_dry = 1'b0;
`else
    wire runs_on = cell_begin && state == RUN && !(at_word && empty);
    wire runs_dry = cell_begin && state == RUN && at_word && empty;
`endif
    assign advance = begins || runs_on;
    assign get = advance && at_word && !empty;

`ifdef FAULT_WORDS_OFF_BY_ONE
    wire written = cell_end && state == RUN && at_word && to_write <= 16'd1;
`elsif FAULT_LAST_BIT_LOST
    wire written = cell_end && state == RUN && position == 4'd15 && to_write == 16'd0;
`elsif FAULT_GATE_HELD_OPEN
    reg tail;

    always @(posedge clock)
        if (reset || !busy)
            tail <= 1'b0;
        else if (advance && position == 4'd15 && to_write == 16'd0)
            tail <= 1'b1;

    wire written = cell_end && state == RUN && position == 4'd8 && tail;
`else
    wire written = cell_end && state == RUN && at_word && to_write == 16'd0;
`endif

`ifdef FAULT_ABORT_FINISHES_WORD
    reg aborting;
    wire word_over = !write_gate || (cell_end && at_word);
    wire aborts = (aborting || abort_transfer) && word_over;

    always @(posedge clock)
        if (reset || host_reset || aborts || !busy)
            aborting <= 1'b0;
        else if (abort_transfer)
            aborting <= 1'b1;
`else
    wire aborts = abort_transfer;
`endif
`ifdef FAULT_RESET_MISSES_GATE
    wire ends = reset || aborts || (host_reset && state != RUN);
`else
    wire ends = reset || aborts || host_reset;
`endif
`ifdef FAULT_ABORT_KEEPS_FIFO
    assign clear = host_reset;
`else
    assign clear = ends || runs_dry;
`endif

    always @(posedge clock)
        if (ends) begin
            state <= IDLE;
            to_fetch <= 16'd0;
            to_write <= 16'd0;
            position <= 4'd0;
            write_gate <= 1'b0;
        end else if (request) begin
            to_fetch <= words;
            to_write <= words;
            position <= 4'd0;
            state <= words == 16'd0 ? IDLE : at_index ? WAIT_INDEX : WAIT_WORD;
        end else begin
            if (put)
                to_fetch <= to_fetch - 16'd1;
            if (starts)
                state <= RUN;
`ifdef FAULT_GATE_WITHOUT_WORD
            if (starts || (index && state == WAIT_INDEX))
`else
            if (starts)
`endif
                write_gate <= 1'b1;
            if (advance)
                position <= position + 4'd1;
            if (get)
                to_write <= to_write - 16'd1;
            if (runs_dry || written) begin
                state <= IDLE;
                write_gate <= 1'b0;
            end
        end

    always @(posedge clock)
        if (reset || host_reset)
            index_passes <= 1'b0;
        else if (index)
            index_passes <= 1'b1;
`ifndef FAULT_INDEX_REMEMBERED
        else if (cell_begin)
            index_passes <= 1'b0;
`endif

    always @(posedge clock)
        if (reset)
            done <= 1'b0;
        else
`ifdef FAULT_DONE_AT_LAST_FETCH
            done <= (request && words == 16'd0) || (put && to_fetch == 16'd1);
`else
            done <= (request && words == 16'd0) || (written && !ends);
`endif
endmodule
