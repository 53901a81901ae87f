// One read: waits for its start, takes words in, gives them to the host, ends.
module read_control (
    input  wire        clock,
    input  wire        reset,
    input  wire        host_reset,
    input  wire        abort_transfer,
    input  wire        request,
    input  wire [15:0] words,
    input  wire [1:0]  start,
    input  wire        match,
    input  wire        sync_switched_off,
    input  wire        index,
    input  wire        boundary,
    input  wire        service,
    input  wire        full,
    input  wire        empty,
    output wire        put,       // the word that is complete in this clock is this read's
    output wire        get,
    output wire        clear,
    output reg         accepted,
    output reg         done,      // for one clock
    output reg         was_done,  // until the next request, abort or reset
    output wire        busy,
    output reg         lost       // a word, since reset
);
    localparam [1:0] START_MATCH = 2'd1, START_INDEX = 2'd2;
    localparam [1:0] IDLE = 2'd0, WAIT_MATCH = 2'd1, WAIT_INDEX = 2'd2, RUN = 2'd3;

    reg [1:0] state;
    reg [15:0] to_come;  // words that have not gone into the FIFO yet
    reg [15:0] to_take;  // words that the host has not taken yet

    wire completed = boundary && state == RUN && to_come != 16'd0;

    assign busy = state != IDLE;
    assign put = completed && !full;
    assign get = service && state == RUN && !empty;
`ifdef FAULT_REQUEST_WHILE_BUSY
    wire accepts = request;
`else
    wire accepts = request && !busy;
`endif
`ifdef FAULT_ABORT_KEEPS_FIFO
    assign clear = host_reset;
`else
    assign clear = host_reset || abort_transfer;
`endif

`ifdef FAULT_WORDS_OFF_BY_ONE
    wire last_taken = get && to_take == 16'd0;
    wire [15:0] asked_to_come = words + 16'd1;
`else
    wire last_taken = get && to_take == 16'd1;
    wire [15:0] asked_to_come = words;
`endif

    always @(posedge clock)
        if (reset || host_reset || abort_transfer) begin
            state <= IDLE;
            to_come <= 16'd0;
            to_take <= 16'd0;
        end else if (accepts) begin
            to_come <= asked_to_come;
            to_take <= words;
            if (words == 16'd0)
                state <= IDLE;
            else
                case (start)
                    START_MATCH: state <= WAIT_MATCH;
                    START_INDEX: state <= WAIT_INDEX;
                    default: state <= RUN;
                endcase
        end else begin
            if (state == WAIT_MATCH && (match || sync_switched_off))
                state <= RUN;
            if (state == WAIT_INDEX && index)
                state <= RUN;
            if (put)
                to_come <= to_come - 16'd1;
            if (get)
                to_take <= to_take - 16'd1;
            if (last_taken)
                state <= IDLE;
        end

    always @(posedge clock)
        if (reset) begin
            accepted <= 1'b0;
            done <= 1'b0;
        end else begin
            accepted <= accepts;
`ifdef FAULT_DONE_PULSE_LOST
            done <= (accepts && words == 16'd0) || (last_taken && !full_before);
`else
            done <= (accepts && words == 16'd0) || last_taken;
`endif
        end

`ifdef FAULT_DONE_PULSE_LOST
    // Whether the FIFO was full during this read.
    reg full_before;

    always @(posedge clock)
        if (reset || accepts)
            full_before <= 1'b0;
        else if (full)
            full_before <= 1'b1;
`endif

    always @(posedge clock)
        if (reset || host_reset || abort_transfer)
            was_done <= 1'b0;
        else if (accepts)
            was_done <= words == 16'd0;
        else if (last_taken)
            was_done <= 1'b1;

    always @(posedge clock)
        if (reset || host_reset)
            lost <= 1'b0;
        else if (completed && full)
            lost <= 1'b1;
endmodule
