// Three words that wait for service.
module fifo (
    input  wire        clock,
    input  wire        reset,
    input  wire        clear,
    input  wire        put,        // ignored while full
    input  wire [15:0] put_word,
    input  wire        get,        // ignored while empty
    output wire [15:0] oldest,
    output wire        full,
    output wire        empty
);
    localparam [1:0] LAST = 2'd2;

    reg [15:0] words [0:2];
    reg [1:0] put_at;
    reg [1:0] get_at;
    reg [2:0] waiting;

`ifdef FAULT_FIFO_FULL_LATE
    assign full = waiting == 3'd4;
`elsif FAULT_FIFO_FULL_EARLY
    assign full = waiting == 3'd2;
`else
    assign full = waiting == 3'd3;
`endif
`ifdef FAULT_FIFO_EMPTY_EARLY
    assign empty = waiting <= 3'd1;
`else
    assign empty = waiting == 3'd0;
`endif
    assign oldest = words[get_at];

    wire puts = put && !full;
    wire gets = get && !empty;

    always @(posedge clock)
        if (reset || clear) begin
            put_at <= 2'd0;
            get_at <= 2'd0;
            waiting <= 3'd0;
        end else begin
            if (puts)
                put_at <= put_at == LAST ? 2'd0 : put_at + 2'd1;
            if (gets)
                get_at <= get_at == LAST ? 2'd0 : get_at + 2'd1;
            waiting <= waiting + {2'd0, puts} - {2'd0, gets};
        end

    always @(posedge clock)
        if (puts)
            words[put_at] <= put_word;
endmodule
